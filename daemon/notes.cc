#include "notes.h"

#include <fmt/format.h>

#include <map>

#include "base/text.h"
#include "offload/manifest.h"
#include "open_shoot.h"

namespace everytake {

Result<void> keep_note(Fs& fs, const Path& folder, const Path& name, const std::string& bytes) {
  if (auto made = fs.make_folder(folder); !made && made.error().code != Code::exists) return made;
  return write_note(fs, folder / name, bytes);
}

Path roll_folder(const Path& stored, const Path& on_card) {
  const auto &whole = stored.native(), tail = "/" + on_card.native();
  return whole.ends_with(tail) ? Path(whole.substr(0, whole.size() - tail.size())) : Path();
}

Result<std::optional<Problem>> leave_manifests(const Catalogue& catalogue, const Roll& roll, OpenDestination& open,
                                               DestinationId id, std::stop_token stop) {
  std::map<Path, std::vector<ManifestLine>> lists;  // by the roll's folder
  for (const auto& row : TRY(catalogue.files_of_roll(roll.id)))
    for (const auto& copy : row.copies) {
      if (copy.destination != id || copy.state != CopyState::verified || !row.digest) continue;
      const auto folder = roll_folder(copy.stored, row.file.path);
      if (!folder.empty()) lists[folder].push_back({row.file.path, *Digest::from_hex(*row.digest)});
    }
  for (const auto& [folder, lines] : lists) {
    const auto name = folder.filename().string();
    if (auto written = write_manifests(*open.fs, folder.parent_path(), name, lines, stop); !written)
      return Problem{"no_manifest", "", open.planned.name,
                     fmt::format("\"{}\": the list {}.xxh128 could not be written: {}", shown(open.planned.name),
                                 shown(name), written.error().what)};
  }
  return std::optional<Problem>();
}

std::vector<Problem> leave_catalogue(const Catalogue& catalogue, const Plan& plan, OpenDestination& open) {
  std::vector<Problem> problems;
  const auto failed = [&](const char* what, const Error& error) {
    problems.push_back(
        {"no_backup", "", open.planned.name,
         fmt::format("\"{}\": {} could not be kept there: {}", shown(open.planned.name), what, error.what)});
  };
  if (const auto bytes = catalogue.snapshot(); !bytes)
    failed("a copy of the catalogue", bytes.error());
  else if (auto done = keep_note(*open.fs, plan.slug(), kCatalogueFile, *bytes); !done)
    failed("a copy of the catalogue", done.error());
  if (!plan.text.empty())
    if (auto done = keep_note(*open.fs, plan.slug(), kPlanFile, plan.text); !done)
      failed("a copy of the plan", done.error());
  return problems;
}

}  // namespace everytake
