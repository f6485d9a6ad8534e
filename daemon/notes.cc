#include "notes.h"

#include <fmt/format.h>

#include <map>

#include "base/text.h"
#include "offload/manifest.h"
#include "open_shoot.h"

namespace everytake {

Result<void> keep_note(Fs& fs, const Path& folder, const Path& name, std::string_view bytes) {
  if (auto made = fs.make_folder(folder); !made && made.error().code != Code::exists) return made;
  return write_note(fs, folder / name, bytes);
}

Path roll_folder(const Path& stored, const Path& on_card) {
  auto folder = stored;
  for (auto below = on_card; !below.empty(); below = below.parent_path()) folder = folder.parent_path();
  return folder;
}

NamesThere names_at(Fs& fs, const Path& home, const UnusualNames& odd, std::span<const FileRow> rows,
                    DestinationId id) {
  NamesThere names(ask_name_rules(fs, home, odd));
  if (names.takes_all()) return names;
  for (const auto& row : rows)
    for (const auto& copy : row.copies)
      if (copy.destination == id && came_to_lie(copy))
        names.keep(roll_folder(copy.stored, row.file.path), row.file.path, copy.stored);
  return names;
}

Result<std::optional<Problem>> leave_manifests(const Catalogue& catalogue, const Roll& roll, OpenDestination& open,
                                               DestinationId id, std::stop_token stop) {
  struct Lists {
    std::vector<ManifestLine> digests;
    std::vector<OtherName> names;
  };
  std::map<Path, Lists> lists;  // by the roll's folder
  const auto add = [&](const FileRow& row) {
    for (const auto& copy : row.copies) {
      if (copy.destination != id || copy.state != CopyState::verified || !row.digest) continue;
      const auto folder = roll_folder(copy.stored, row.file.path);
      if (folder.empty()) continue;
      auto stored = copy.stored.lexically_relative(folder);
      lists[folder].digests.push_back({stored, *Digest::from_hex(*row.digest)});
      if (stored != row.file.path) lists[folder].names.push_back({std::move(stored), row.file.path});
    }
  };
  TRY(catalogue.for_each_file_of_roll(roll.id, add));
  for (const auto& [folder, list] : lists) {
    const auto name = folder.filename().string();
    auto written = write_manifests(*open.fs, folder.parent_path(), name, list.digests, stop);
    if (written && !list.names.empty())
      written = write_note(*open.fs, folder.parent_path() / (name + ".names"), names_note(list.names));
    if (!written)
      return Problem{"no_manifest", "", open.planned.name,
                     fmt::format("\"{}\": the list {}.xxh128 could not be written: {}", shown(open.planned.name),
                                 shown(name), written.error().what)};
  }
  return std::optional<Problem>();
}

std::vector<Problem> leave_catalogue(const Catalogue& catalogue, const Plan& plan,
                                     std::span<OpenDestination* const> destinations) {
  if (destinations.empty()) return {};
  std::vector<Problem> problems;
  const auto snapshot = catalogue.snapshot();
  for (auto* open : destinations) {
    const auto& name = open->planned.name;
    const auto failed = [&](const char* what, const Error& error) {
      problems.push_back({"no_backup", "", name,
                          fmt::format("\"{}\": {} could not be kept there: {}", shown(name), what, error.what)});
    };
    if (!snapshot)
      failed("a copy of the catalogue", snapshot.error());
    else if (auto done = keep_note(*open->fs, plan.slug(), kCatalogueFile, snapshot->bytes()); !done)
      failed("a copy of the catalogue", done.error());
    if (plan.text.empty()) continue;
    if (auto done = keep_note(*open->fs, plan.slug(), kPlanFile, plan.text); !done)
      failed("a copy of the plan", done.error());
  }
  return problems;
}

}  // namespace everytake
