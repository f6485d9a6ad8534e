#include "pipeline/notes.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "base/text.h"
#include "offload/identity.h"
#include "offload/manifest.h"
#include "offload/note.h"
#include "os/random.h"
#include "pipeline/card_lock.h"
#include "pipeline/marks.h"
#include "pipeline/open_shoot.h"
#include "pipeline/shoot_folders.h"

namespace everytake::pipeline {

Result<void> keep_note(Fs& fs, const Path& folder, const Path& name, std::string_view bytes) {
  if (auto made = fs.make_folder(folder); !made && made.error().code != Code::exists) return made;
  return offload::write_note(fs, folder / name, bytes);
}

Path roll_folder(const Path& stored, const Path& on_card) {
  auto folder = stored;
  for (auto below = on_card; !below.empty(); below = below.parent_path()) folder = folder.parent_path();
  return folder;
}

offload::NamesThere names_at(Fs& fs, const Path& home, const offload::UnusualNames& odd,
                             std::span<const catalogue::FileRow> rows, DestinationId id) {
  offload::NamesThere names(offload::ask_name_rules(fs, home, odd));
  if (names.takes_all()) return names;
  for (const auto& row : rows)
    for (const auto& copy : row.copies)
      if (copy.destination == id && catalogue::is_stored(copy))
        names.keep(roll_folder(copy.stored, row.file.path), row.file.path, copy.stored);
  return names;
}

Result<std::optional<Problem>> leave_manifests(const catalogue::Catalogue& catalogue, const catalogue::Roll& roll,
                                               const MatchedDestination& matched, std::stop_token stop) {
  const auto& open = *matched.open;
  struct Lists {
    std::vector<offload::ManifestLine> digests;
    std::vector<offload::OtherName> names;
  };
  std::map<Path, Lists> lists;  // by the roll's folder
  const auto add = [&](const catalogue::FileRow& row) {
    for (const auto& copy : row.copies) {
      if (copy.destination != matched.id || copy.state != CopyState::verified || !row.digest) continue;
      const auto folder = roll_folder(copy.stored, row.file.path);
      if (folder.empty() || folder.parent_path() != matched.home) continue;
      auto stored = copy.stored.lexically_relative(folder);
      lists[folder].digests.push_back({stored, *row.digest});
      if (stored != row.file.path) lists[folder].names.push_back({std::move(stored), row.file.path});
    }
  };
  TRY(catalogue.for_each_file_of_roll(roll.id, add));
  const auto is_own = is_own_home(catalogue, matched);
  if (!lists.empty() && (!is_own || !*is_own))
    return Problem{
        ProblemCode::no_manifest, "", open.planned.name,
        fmt::format("\"{}\": the list of {} could not be written: {}", shown(open.planned.name), shown(roll.name),
                    is_own ? "the folder belongs to another catalogue" : is_own.error().what)};
  for (const auto& [folder, list] : lists) {
    const auto name = folder.filename().string();
    auto written = offload::write_manifests(*open.fs, folder.parent_path(), name, list.digests, stop);
    if (written && !list.names.empty())
      written =
          offload::write_note(*open.fs, folder.parent_path() / (name + ".names"), offload::names_note(list.names));
    if (!written)
      return Problem{ProblemCode::no_manifest, "", open.planned.name,
                     fmt::format("\"{}\": the list {}.xxh128 could not be written: {}", shown(open.planned.name),
                                 shown(name), written.error().what)};
  }
  return std::optional<Problem>();
}

namespace {

Result<void> leave_at(const catalogue::Catalogue& catalogue, const MatchedDestination& matched, const Owner& owner,
                      std::string_view bytes, const std::string& plan) {
  auto& fs = *matched.open->fs;
  if (!TRY(is_own_home(catalogue, matched)))
    return fail(Code::exists, shown(matched.home.string()) + " belongs to another catalogue now");
  TRY(renew_claim(fs, matched.home, owner));
  TRY(offload::write_note(fs, matched.home / kCatalogueFile, bytes));
  return plan.empty() ? Result<void>() : offload::write_note(fs, matched.home / kPlanFile, plan);
}

}  // namespace

std::vector<Problem> leave_catalogue(catalogue::Catalogue& catalogue, const Plan& plan, const Clock& clock,
                                     std::span<const MatchedDestination> matches) {
  if (matches.empty()) return {};
  std::vector<Problem> problems;
  const auto leave = [&]() -> Result<void> {
    const auto turn =
        TRY(CardLock::take_notes(catalogue, clock));  // else an older state could come to lie over a newer
    const Owner owner{TRY(catalogue.id()), random_id()};
    // The stamp is known before it is left anywhere: this catalogue must know its own again, whatever comes between.
    TRY(catalogue.add_stamp(owner.stamp, clock.now()));
    const auto snapshot = TRY(catalogue.snapshot());
    for (const auto& matched : matches) {
      const auto& name = matched.open->planned.name;
      const auto done = leave_at(catalogue, matched, owner, snapshot.bytes(), plan.text);
      if (done) continue;
      problems.push_back({ProblemCode::no_backup, "", name,
                          fmt::format("\"{}\": a copy of the catalogue and the plan could not be kept there: {}",
                                      shown(name), done.error().what)});
    }
    return {};
  };
  if (const auto left = leave(); !left)
    problems.push_back(
        {ProblemCode::no_backup, "", "", "no copy of the catalogue could be kept: " + left.error().what});
  return problems;
}

namespace {

Result<void> make_folders(Fs& fs, const Path& folder) {
  if (folder.empty()) return {};
  TRY(make_folders(fs, folder.parent_path()));
  if (auto made = fs.make_folder(folder); !made && made.error().code != Code::exists) return made;
  return {};
}

}  // namespace

bool is_left_by_a_visit(const ReadFs& fs, const catalogue::FileRow& row, DestinationId destination,
                        const Path& stored) {
  const bool was_read_back = std::ranges::any_of(row.copies, [&](const catalogue::CopyRow& copy) {
    return copy.destination == destination && copy.stored == stored && copy.digest;
  });
  if (was_read_back) return true;
  if (!row.sample) return false;  // its time was never a card's: a catalogue rebuilt from lists knows that of the copy
  const auto there = fs.stat(stored);
  return there && there->type == FileType::regular && offload::same_coarse_time(there->mtime, row.file.mtime);
}

bool set_aside(Fs& fs, const Path& stored, const Path& on_card) {
  if (!fs.stat(stored)) return false;
  const auto folder = roll_folder(stored, on_card);
  if (folder.empty()) return false;
  const Path aside = Path(folder.native() + ".bad") / stored.lexically_relative(folder);
  if (!make_folders(fs, aside.parent_path())) return false;
  for (int n = 1; n < 10'000; ++n) {
    const Path name = n == 1 ? aside : Path(fmt::format("{}~{}", aside.native(), n));
    const auto moved = fs.rename_new(stored, name);
    if (!moved && moved.error().code == Code::exists) continue;
    return moved && fs.sync_folder(name.parent_path()) && fs.sync_folder(stored.parent_path());
  }
  return false;
}

}  // namespace everytake::pipeline
