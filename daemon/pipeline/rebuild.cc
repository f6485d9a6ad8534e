#include "pipeline/rebuild.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <optional>

#include "base/text.h"
#include "card/recognise.h"
#include "card/scan.h"
#include "catalogue/catalogue.h"
#include "offload/manifest.h"
#include "offload/names.h"
#include "offload/note.h"
#include "os/paths.h"
#include "os/posix_fs.h"
#include "os/small_file.h"
#include "pipeline/marks.h"
#include "pipeline/open_shoot.h"

namespace everytake::pipeline {
namespace {

constexpr std::uint64_t kMostNoteBytes = std::uint64_t{1} << 30;  // a catalogue or a list of a million files
constexpr const char* kUnfinished = "catalogue.sqlite.everytake-part";

// "R001" of "R001.xxh128"; empty for other names.
std::string roll_of_list(const std::string& name) {
  constexpr std::string_view kEnd = ".xxh128";
  if (!name.ends_with(kEnd) || name.size() < kEnd.size() + 2 || name[0] != 'R') return "";
  const auto roll = name.substr(0, name.size() - kEnd.size());
  return roll.find_first_not_of("0123456789", 1) == std::string::npos ? roll : "";
}

bool holds_a_shoot(const ReadFs& disk, const Path& folder) {
  if (disk.stat(folder / kCatalogueFile)) return true;
  const auto entries = disk.list(folder);
  return entries && std::any_of(entries->begin(), entries->end(),
                                [](const auto& entry) { return !roll_of_list(entry.name).empty(); });
}

class Rebuilding {
 public:
  Rebuilding(const Path& destination, const Path& shoot, std::stop_token stop)
      : named_(destination), shoot_(shoot), stop_(std::move(stop)) {}

  Result<Rebuilt> run() {
    auto done = rebuild();
    if (!done) leave_nothing();
    return done;
  }

 private:
  Result<Rebuilt> rebuild() {
    disk_ = TRY(PosixFs::open_at(named_));
    home_ = TRY(PosixFs::open_at(shoot_));
    if (home_->stat(kCatalogueFile))
      return fail(Code::exists, shown((shoot_ / kCatalogueFile).string()) +
                                    " is there already and is never replaced: move it away first, or name another "
                                    "folder with --shoot");
    TRY(find_folder());
    TRY(find_plan());
    begun_ = true;
    for (const char* part : {"", "-journal"}) TRY(remove_unfinished(part));
    TRY(start_from_the_kept_one());
    TRY(add_lists());
    catalogue_.reset();  // closed, so that it can be moved
    TRY(remove_unfinished("-journal"));
    if (done_.plan_restored) {
      plan_written_ = true;
      TRY(offload::write_note(*home_, kPlanFile, plan_.text));
    }
    TRY(home_->rename_new(kUnfinished, kCatalogueFile));
    in_place_ = true;
    TRY(home_->sync_folder(""));
    return std::move(done_);
  }

  // After a failure: a folder that held no shoot holds none.
  void leave_nothing() {
    if (!begun_ || in_place_) return;
    catalogue_.reset();
    for (const char* part : {"", "-journal", ".everytake-part"}) (void)remove_unfinished(part);  // what fails stays
    if (!plan_written_) return;
    (void)home_->remove(kPlanFile);
    (void)home_->remove(std::string(kPlanFile) + ".everytake-part");
  }

  Result<void> remove_unfinished(const char* part) {
    auto gone = home_->remove(std::string(kUnfinished) + part);
    return gone || gone.error().code == Code::not_found ? Result<void>() : gone;
  }

  // Sets folder_, below disk_, which is rooted at the destination.
  Result<void> find_folder() {
    if (holds_a_shoot(*disk_, "")) {
      folder_ = named_.filename();
      named_ = named_.parent_path();
      disk_ = TRY(PosixFs::open_at(named_));
      return {};
    }
    std::vector<Path> found;
    for (const auto& entry : TRY(disk_->list("")))
      if (entry.type == FileType::directory && holds_a_shoot(*disk_, entry.name)) found.push_back(entry.name);
    if (found.empty()) return fail(Code::not_found, shown(named_.string()) + ": nothing of a shoot lies there");
    if (found.size() == 1) {
      folder_ = found[0];
      return {};
    }
    if (const auto plan = load_shoot_for_copies(shoot_))
      if (std::find(found.begin(), found.end(), plan->plan.slug()) != found.end()) {
        folder_ = plan->plan.slug();
        return {};
      }
    std::string names;
    for (const auto& each : found) names += (names.empty() ? "" : ", ") + shown(each.string());
    return fail(Code::invalid,
                fmt::format("{} holds several shoots: name the folder of one ({})", shown(named_.string()), names));
  }

  // The shoot's own plan, else the one kept at the destination, which is written last of all.
  Result<void> find_plan() {
    auto shoot = load_shoot_for_copies(shoot_);
    if (!home_->stat(kPlanFile)) {
      const auto text = read_whole(*disk_, folder_ / kPlanFile, kMostNoteBytes);
      if (!text)
        return fail(Code::invalid,
                    fmt::format("no plan is kept there: make one with \"everytake init\", then rebuild ({})",
                                text.error().what));
      shoot = shoot_for_copies(shoot_, *text);
      done_.plan_restored = true;
    }
    if (!shoot) return fail(Code::invalid, shoot.error().at(0));
    plan_ = std::move(shoot->plan);
    return {};
  }

  // The catalogue kept beside the rolls knows tags and places too; a damaged one is passed over.
  Result<void> start_from_the_kept_one() {
    if (const auto bytes = read_whole(*disk_, folder_ / kCatalogueFile, kMostNoteBytes)) {
      TRY(offload::write_note(*home_, kUnfinished, *bytes));
      auto kept = catalogue::Catalogue::open(shoot_ / kUnfinished);
      const auto sound = kept ? (*kept)->check() : Result<void>(tl::unexpected(kept.error()));
      if (sound) {
        catalogue_ = std::move(*kept);
        done_.from_catalogue = true;
        return catalogue_->distrust_copies();
      }
      done_.problems.push_back({ProblemCode::kept_catalogue_damaged, (folder_ / kCatalogueFile).string(), "",
                                "the catalogue kept there is of no use: " + sound.error().what});
      if (kept) kept->reset();
      TRY(home_->remove(kUnfinished));
    }
    catalogue_ = TRY(catalogue::Catalogue::open(shoot_ / kUnfinished));
    return {};
  }

  // The name this destination goes by: the plan's for this path, else the catalogue's for this filesystem.
  Result<std::string> name_here(const Volume& volume) const {
    const auto here = resolved(named_);
    for (const auto& planned : plan_.destinations)
      if (planned.path == named_ || resolved(planned.path) == here) return planned.name;
    const auto mark = read_mark(*disk_);
    for (const auto& row : TRY(catalogue_->destinations()))
      if (mark && *mark && row.mark == **mark) return row.name;
    for (const auto& row : TRY(catalogue_->destinations()))
      if (!row.fs_uuid.empty() && row.fs_uuid == volume.uuid) return row.name;
    return shown(named_.filename().string());
  }

  Result<void> add_lists() {
    const auto volume = TRY(disk_->volume());
    done_.destination = TRY(name_here(volume));
    TRY(go_on_for(*disk_));
    const auto mark = read_mark(*disk_);
    const auto id = TRY(catalogue_->destination({{},
                                                 done_.destination,
                                                 named_,
                                                 volume.disks.names.empty() ? "" : disks_text(volume.disks),
                                                 volume.uuid,
                                                 mark ? mark->value_or("") : "",
                                                 folder_}));
    std::vector<std::string> rolls;
    for (const auto& entry : TRY(disk_->list(folder_)))
      if (auto name = roll_of_list(entry.name); !name.empty()) rolls.push_back(std::move(name));
    std::sort(rolls.begin(), rolls.end());
    for (const auto& name : rolls) TRY(add_list(name, id));
    for (const auto& summary : TRY(catalogue_->roll_summaries())) {
      ++done_.rolls;
      done_.files += summary.files;
    }
    return {};
  }

  // The folder there is this catalogue's from now on, as it was the lost one's.
  Result<void> go_on_for(const ReadFs& disk) {
    const auto owner = read_owner(disk, folder_);
    if (!owner) {
      done_.problems.push_back({ProblemCode::bad_mark, folder_.string(), done_.destination, owner.error().what});
      return {};
    }
    return *owner ? catalogue_->take_over((*owner)->catalogue, (*owner)->stamp) : Result<void>();
  }

  Result<void> add_list(const std::string& name, DestinationId id) {
    const auto list = folder_ / (name + ".xxh128");
    const auto lines = offload::parse_xxh128_manifest(TRY(read_whole(*disk_, list, kMostNoteBytes)));
    if (!lines) {
      done_.problems.push_back({ProblemCode::bad_list, list.string(), done_.destination,
                                shown(list.string()) + ": " + lines.error().what + "; its roll was passed over"});
      return {};
    }
    const auto own = own_names(name);
    std::vector<catalogue::RestoredFile> files;
    for (const auto& line : *lines) {
      const auto stored = folder_ / name / line.path;
      const auto stat = disk_->stat(stored);
      // A file that is gone has its row all the same: verify() misses it then.
      files.push_back(
          {{on_card(own, line.path), stat ? stat->size : 0, stat ? stat->mtime : FileTime{}}, line.digest, stored});
    }
    catalogue::Roll roll;
    roll.name = name;
    roll.opened_at = std::chrono::floor<Instant::duration>(
        Instant(std::chrono::duration_cast<Instant::duration>(TRY(disk_->stat(list)).mtime.time_since_epoch())));
    roll.card_label = name;
    if (TRY(catalogue_->restore_roll(roll, files, id)) > 0)
      done_.problems.push_back({ProblemCode::lists_differ, list.string(), done_.destination,
                                shown(list.string()) + " and the catalogue kept there name different bytes; the "
                                                       "catalogue's count"});
    return add_clips(name, own);
  }

  // What the card called the files that lie here under other names.
  std::map<Path, Path> own_names(const std::string& name) {
    const auto note = folder_ / (name + ".names");
    std::map<Path, Path> own;
    if (!disk_->stat(note)) return own;
    const auto text = read_whole(*disk_, note, kMostNoteBytes);
    const auto names = text ? offload::parse_names_note(*text) : tl::unexpected(text.error());
    if (!names)
      done_.problems.push_back({ProblemCode::bad_list, note.string(), done_.destination,
                                shown(note.string()) + ": " + names.error().what + "; the names it tells are lost"});
    else
      for (const auto& each : *names) own[each.stored] = each.on_card;
    return own;
  }
  static const Path& on_card(const std::map<Path, Path>& own, const Path& stored) {
    const auto it = own.find(stored);
    return it == own.end() ? stored : it->second;
  }

  Result<void> add_clips(const std::string& name, const std::map<Path, Path>& own) {
    const auto folder = TRY(PosixFs::open_at(named_ / folder_ / name));
    auto listing = TRY(card::scan(*folder, stop_));
    for (auto& file : listing.files) file.path = on_card(own, file.path);
    std::ranges::sort(listing.files, {}, [](const CardFile& file) { return file.path.native(); });
    std::map<std::string, FileId> ids;
    const auto roll = TRY(catalogue_->find_roll(name));
    for (const auto& row : TRY(catalogue_->files_of_roll(roll.id))) ids[row.file.path.string()] = row.id;
    const auto unlisted = std::count_if(listing.files.begin(), listing.files.end(),
                                        [&](const auto& file) { return !ids.count(file.path.string()); });
    if (unlisted > 0)
      done_.problems.push_back({ProblemCode::not_in_list, name, done_.destination,
                                fmt::format("{}: {} file{} there {} in no list and can't be checked", name, unlisted,
                                            unlisted == 1 ? "" : "s", unlisted == 1 ? "is" : "are")});
    std::vector<ClipFiles> clips;
    for (auto& clip : card::clips_of(listing))
      if (std::all_of(clip.parts.begin(), clip.parts.end(),
                      [&](const auto& part) { return ids.count(part.path.string()) > 0; }))
        clips.push_back(std::move(clip));
    TRY(catalogue_->put_clips(clips, ids));
    return {};
  }

  Path named_;
  const Path shoot_;
  const std::stop_token stop_;
  std::unique_ptr<PosixFs> disk_, home_;
  Path folder_;  // the shoot's, at the destination
  Plan plan_;
  std::unique_ptr<catalogue::Catalogue> catalogue_;
  bool begun_ = false, plan_written_ = false;  // what may lie in the folder now
  bool in_place_ = false;                      // the catalogue has its name
  Rebuilt done_;
};

}  // namespace

Result<Rebuilt> rebuild(const Path& destination, const Path& shoot, std::stop_token stop) {
  return Rebuilding(destination, shoot, std::move(stop)).run();
}

}  // namespace everytake::pipeline
