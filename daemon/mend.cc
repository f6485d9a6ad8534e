// Pipeline::mend: copies made from other copies, when the card is gone or is not needed.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "base/text.h"
#include "chosen_rolls.h"
#include "notes.h"
#include "offload/plan_copies.h"
#include "pipeline.h"
#include "places.h"
#include "recording.h"
#include "standing.h"

namespace everytake {
namespace {

constexpr int kRounds = 4;  // a copy that stood in the way, and a source that turned out bad, take one more each

class Mending {
 public:
  Mending(Catalogue& catalogue, const Plan& plan, const Clock& clock, std::span<OpenDestination> destinations,
          const CopyChoice& choice, const IngestWatcher& watcher, std::stop_token stop)
      : catalogue_(catalogue),
        plan_(plan),
        clock_(clock),
        open_(destinations),
        choice_(choice),
        watcher_(watcher),
        stop_(std::move(stop)) {}

  Result<MendReport> run() {
    destination_rows_ = TRY(catalogue_.destinations());
    places_ = places_of(open_, destination_rows_);
    for (const auto& place : places_)
      if (place.absence && wanted(place)) report_.problems.push_back(*place.absence);
    const auto rolls = TRY(rolls_with_work());
    if (!rolls.empty()) TRY(mend(rolls));
    for (const auto& [key, problem] : last_problems_) report_.problems.push_back(problem);
    return std::move(report_);
  }

 private:
  using FileAt = std::pair<std::int64_t, std::size_t>;  // a file and the index of a place

  // Looked at before any card is taken in hand: most of the time there is none.
  Result<std::vector<RollId>> rolls_with_work() {
    std::vector<RollId> found;
    for (const auto& roll : TRY(catalogue_.rolls())) {
      const auto& only = choice_.rolls;
      if (!only.empty() && std::find(only.begin(), only.end(), roll.id) == only.end()) continue;
      if (!TRY(what_to_mend({roll})).empty()) found.push_back(roll.id);
    }
    return found;
  }

  Result<void> mend(const std::vector<RollId>& rolls) {
    const auto chosen = TRY(ChosenRolls::take(catalogue_, rolls, clock_));
    last_problems_.clear();
    for (int round = 0; round < kRounds && !report_.ended; ++round) {
      const auto work = TRY(what_to_mend(chosen.rolls()));
      if (work.empty()) break;
      again_ = false;
      for (const auto& [source, files] : work) TRY(copy_from(places_[source], files, chosen.files()));
      if (!again_) break;
    }
    return leave_notes(chosen.rolls());
  }

  bool wanted(const DestinationPlace& place) const {
    return !choice_.destination || place.open->planned.name == *choice_.destination;
  }

  // The row of this file's copy at a place, when it is verified and stands as it was.
  const CopyRow* good_copy(const FileRow& file, const DestinationPlace& place) const {
    if (!place.is_here()) return nullptr;
    const auto row = std::find_if(destination_rows_.begin(), destination_rows_.end(),
                                  [&](const auto& r) { return r.id == place.id; });
    for (const auto& copy : file.copies)
      if (copy.destination == place.id && copy.state == CopyState::verified &&
          look_at(copy, place.open, row->fs_uuid) == CopySeen::Now::unchanged)
        return &copy;
    return nullptr;
  }

  bool should_hold(const FileRow& file, const DestinationPlace& place) const {
    if (!place.is_here() || !wanted(place)) return false;
    if (is_planned(plan_, place.open->planned.name)) return true;
    return std::any_of(file.copies.begin(), file.copies.end(),
                       [&](const auto& c) { return c.destination == place.id; });
  }

  struct Wanting {
    FileRow file;
    CopyRow from;
    std::vector<std::size_t> places;  // that lack it
  };

  // By the place to read from. A file without a good copy in reach is a problem.
  Result<std::map<std::size_t, std::vector<Wanting>>> what_to_mend(const std::vector<Roll>& rolls) {
    std::map<std::size_t, std::vector<Wanting>> work;
    for (const auto& roll : rolls)
      for (auto& file : TRY(catalogue_.files_of_roll(roll.id))) {
        Wanting each;
        std::optional<std::size_t> source;
        for (std::size_t i = 0; i < places_.size(); ++i) {
          const auto* good =
              file.digest && !bad_sources_.count({file.id.value, i}) ? good_copy(file, places_[i]) : nullptr;
          if (good && !source) {
            source = i;
            each.from = *good;
          }
          if (!good && should_hold(file, places_[i])) each.places.push_back(i);
        }
        if (each.places.empty()) continue;
        each.file = std::move(file);
        if (source)
          work[*source].push_back(std::move(each));
        else
          no_source(roll, each.file);
      }
    return work;
  }

  void no_source(const Roll& roll, const FileRow& file) {
    last_problems_[{file.id.value, 0}] = {
        "no_good_copy", file.file.path.string(), "",
        fmt::format("{}/{}: no good copy is in reach: connect the other disks, or offload the card again",
                    shown(roll.name), shown(file.file.path.string()))};
  }

  // `known`: all files of the rolls, for the names that are taken.
  Result<void> copy_from(const DestinationPlace& source, const std::vector<Wanting>& files,
                         const std::vector<FileRow>& known) {
    std::vector<VisitPlace> targets;
    std::vector<Target> disks;
    std::vector<std::size_t> indices;
    for (std::size_t i = 0; i < places_.size(); ++i) {
      auto& place = places_[i];
      if (!std::any_of(files.begin(), files.end(), [&](const auto& w) { return lacks(w, i); })) continue;
      const auto& volume = place.open->volume;
      place.id =
          TRY(catalogue_.destination(place.open->planned.name, place.open->planned.path, volume.disk, volume.uuid));
      targets.push_back({place.open, place.id, targets.size()});
      disks.push_back({place.open->planned.name, place.open->fs.get()});
      indices.push_back(i);
    }
    destination_rows_ = TRY(catalogue_.destinations());
    const auto plan = plan_from(files, known, targets, indices);
    Recording recording(catalogue_, clock_, targets, plan.jobs, watcher_);
    recording.reading_copies(source.open->planned.name);
    tell_start(plan, disks);
    const auto done = copy_files(*source.open->fs, plan.jobs, disks, {}, recording, stop_);
    if (!done && done.error().code != Code::gone) {
      if (done.error().code != Code::cancelled) return tl::unexpected(done.error());
      report_.ended = done.error();
    }
    return take_stock(source, files, indices, recording);
  }

  static bool lacks(const Wanting& each, std::size_t place) {
    return std::find(each.places.begin(), each.places.end(), place) != each.places.end();
  }

  // What fits, as for a card; the source's copies are read, and must give the digests the card gave.
  CopyPlan plan_from(const std::vector<Wanting>& files, const std::vector<FileRow>& known,
                     const std::vector<VisitPlace>& targets, const std::vector<std::size_t>& indices) {
    std::vector<Path> paths;
    for (const auto& row : known) paths.push_back(row.file.path);
    const auto odd = unusual_in(paths);
    const auto home = roll_folder(files[0].from.stored, files[0].file.file.path).parent_path();
    std::vector<NamesThere> names;
    for (const auto& target : targets) names.push_back(names_at(*target.open->fs, home, odd, known, target.id));
    std::vector<FileToCopy> wanted;
    std::map<std::int64_t, Digest> digests;
    for (const auto& each : files) {
      const auto& path = each.file.file.path;
      const auto folder = roll_folder(each.from.stored, path);
      FileToCopy file{each.file.id, each.file.file, folder / path, {}};
      file.source.path = each.from.stored;
      for (std::size_t t = 0; t < indices.size(); ++t) {
        if (!lacks(each, indices[t])) file.done.insert(t);
        if (!names[t].takes_all()) file.otherwise[t] = names[t].of(folder, path);
      }
      digests[each.file.id.value] = *Digest::from_hex(*each.file.digest);
      wanted.push_back(std::move(file));
    }
    std::vector<TargetRoom> rooms;
    for (const auto index : indices) {
      auto& open = *places_[index].open;
      if (auto now = open.fs->volume()) open.volume.free_bytes = now->free_bytes;
      rooms.push_back({open.planned.name, open.volume});
    }
    auto plan = plan_copies(wanted, rooms);
    for (auto& job : plan.jobs) job.expected = digests.at(job.file.value);
    for (const auto& problem : plan.problems) last_problems_[{0, indices[0]}] = problem;
    return plan;
  }

  void tell_start(const CopyPlan& plan, const std::vector<Target>& disks) const {
    IngestWatcher::Start start{"mending", plan.jobs.size(), 0, {}, plan.bytes};
    for (const auto& job : plan.jobs) start.bytes += job.source.size;
    for (const auto& disk : disks) start.targets.push_back(disk.name);
    watcher_.started(start);
  }

  // Counts what is mended, sets aside what stands in the way, and remembers sources that are no good.
  Result<void> take_stock(const DestinationPlace& source, const std::vector<Wanting>& files,
                          const std::vector<std::size_t>& indices, const Recording& recording) {
    for (const auto& problem : recording.problems()) last_problems_[{0, last_problems_.size() + 1}] = problem;
    for (const auto& [file, error] : recording.unread()) {
      const auto place = static_cast<std::size_t>(&source - places_.data());
      bad_sources_.insert({file, place});
      again_ = true;
      if (error.code == Code::corrupt) TRY(note_bad(source, files, file));
    }
    for (std::size_t t = 0; t < indices.size(); ++t)
      if (const auto verified = recording.verified(t); verified > 0)
        report_.mended[places_[indices[t]].open->planned.name] += verified;
    for (const auto& [key, error] : recording.failures()) {
      const auto& open = *places_[indices[key.second]].open;
      const auto each =
          std::find_if(files.begin(), files.end(), [id = key.first](const auto& w) { return w.file.id.value == id; });
      const auto code = error.code;
      if (code != Code::exists && code != Code::io && code != Code::corrupt) continue;
      const bool moved = set_aside(*open.fs, recording.stored_at(key), each->file);
      again_ = again_ || moved || code != Code::exists;
    }
    if (again_) last_problems_.clear();  // the next round tells what is left
    return {};
  }

  // A copy that was called verified gave other bytes: it must not count any more.
  Result<void> note_bad(const DestinationPlace& source, const std::vector<Wanting>& files, std::int64_t id) {
    const auto each = std::find_if(files.begin(), files.end(), [&](const auto& w) { return w.file.id.value == id; });
    auto row = each->from;
    row.state = CopyState::failed;
    row.readback = std::nullopt;
    row.verified_at = std::nullopt;
    const auto& name = source.open->planned.name;
    report_.problems.push_back(
        {"bytes_differ", row.stored.string(), name,
         fmt::format("\"{}\": {} is not what the card held", shown(name), shown(row.stored.string()))});
    return catalogue_.record_copies(std::span(&row, 1));
  }

  // Moves what lies under a copy's name to `<roll>.bad`, under a name that is free. False where nothing lay there.
  bool set_aside(Fs& fs, const Path& stored, const FileRow& file) {
    if (!fs.stat(stored)) return false;
    const auto folder = roll_folder(stored, file.file.path);
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

  static Result<void> make_folders(Fs& fs, const Path& folder) {
    if (folder.empty()) return {};
    TRY(make_folders(fs, folder.parent_path()));
    if (auto made = fs.make_folder(folder); !made && made.error().code != Code::exists) return made;
    return {};
  }

  Result<void> leave_notes(const std::vector<Roll>& rolls) {
    for (const auto& place : places_) {
      if (!report_.mended.count(place.open->planned.name)) continue;
      for (const auto& roll : rolls)
        if (auto problem = TRY(leave_manifests(catalogue_, roll, *place.open, place.id, stop_)))
          report_.problems.push_back(std::move(*problem));
    }
    if (report_.mended.empty()) return {};
    std::vector<OpenDestination*> here;
    for (const auto& place : places_)
      if (place.is_here()) here.push_back(place.open);
    for (auto& problem : leave_catalogue(catalogue_, plan_, here)) report_.problems.push_back(std::move(problem));
    return {};
  }

  Catalogue& catalogue_;
  const Plan& plan_;
  const Clock& clock_;
  const std::span<OpenDestination> open_;
  const CopyChoice& choice_;
  const IngestWatcher& watcher_;
  const std::stop_token stop_;

  MendReport report_;
  std::vector<DestinationRow> destination_rows_;
  std::vector<DestinationPlace> places_;
  std::set<FileAt> bad_sources_;
  std::map<FileAt, Problem> last_problems_;  // of the last round
  bool again_ = false;                       // another round may help
};

}  // namespace

Result<MendReport> Pipeline::mend(std::span<OpenDestination> destinations, const CopyChoice& choice,
                                  const IngestWatcher& watcher, std::stop_token stop) {
  return Mending(catalogue_, plan_, clock_, destinations, choice, watcher, std::move(stop)).run();
}

}  // namespace everytake
