// Pipeline::ingest: one visit of a card.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "base/parallel.h"
#include "base/text.h"
#include "card/recognise.h"
#include "card/scan.h"
#include "lease.h"
#include "notes.h"
#include "offload/identity.h"
#include "offload/plan_copies.h"
#include "pipeline.h"
#include "places.h"
#include "recording.h"
#include "standing.h"

namespace everytake {
namespace {

using State = IngestReport::Destination::State;

// A file of this visit.
struct VisitFile {
  CardFile file;
  const FileRow* row = nullptr;  // nullptr: new
  FileId id;
  Path folder;  // of its roll, below a destination's
};

// What of a visit's files lies at a destination.
struct Holding {
  std::size_t verified = 0, unproven = 0;  // files
  std::uint64_t bytes = 0;                 // of the verified ones
  std::optional<Evidence> readback;        // the weakest of theirs

  void add(const CopyRow& copy, std::uint64_t size) {
    unproven += copy.state == CopyState::copied;
    if (copy.state != CopyState::verified) return;
    ++verified;
    bytes += size;
    readback = std::max(readback.value_or(Evidence::direct), copy.readback.value_or(Evidence::cached));
  }
};

// One visit, step by step. Each step may rely on what the ones before it established.
class Visit {
 public:
  Visit(Catalogue& catalogue, const Plan& plan, const Clock& clock, const Card& card,
        std::span<OpenDestination> destinations, const IngestOptions& options, const IngestWatcher& watcher,
        std::stop_token stop)
      : catalogue_(catalogue),
        plan_(plan),
        clock_(clock),
        card_(card),
        open_(destinations),
        options_(options),
        watcher_(watcher),
        stop_(std::move(stop)),
        twice_(options.read_twice || plan.read_card_twice) {}

  Result<IngestReport> run() {
    TRY(list());               // listing_ is what the card says it holds, twice over
    TRY(know());               // known_ and files_: which of it was seen before
    TRY(find_destinations());  // places_: where copies go; an absent one is a problem, not the end
    TRY(open_roll());          // every file has a row
    find_names();              // names_: what each file is called at each target
    const auto plan = plan_what_to_copy();
    if (!options_.dry_run) {
      TRY(note_clips());  // so that they can be studied while others are copied
      copy(plan);         // report_.ended says what cut it short
      if (!report_.ended) TRY(look_again());
      TRY(leave_lists());
      TRY(note_problems());
      leave_backups();
    }
    TRY(sum_up(plan));
    return std::move(report_);
  }

 private:
  Result<void> list() {
    listing_ = TRY(scan(card_.fs, stop_));
    if (listing_.files.empty()) return nothing_listed();
    const auto second = TRY(scan(card_.fs, stop_));
    if (second.files != listing_.files)
      return fail(Code::busy, shown(card_.root.string()) +
                                  ": two listings differ: something still writes to it, or the reader is faulty; "
                                  "try again, then try another reader");
    report_.problems = listing_.problems;
    report_.root = card_.root;
    report_.label = card_label(card_.volume, card_.root);
    report_.uuid = card_.volume.uuid;
    report_.identity = listing_identity(listing_);
    report_.files = listing_.files.size();
    for (const auto& file : listing_.files) report_.bytes += file.size;
    return {};
  }

  // An empty card, or one whose folders can't be read: that must not look the same.
  Result<void> nothing_listed() const {
    const auto root = shown(card_.root.string());
    if (listing_.complete) return fail(Code::invalid, root + ": there is no file on it");
    const auto it = std::ranges::find(listing_.problems, "unreadable", &Problem::code);
    return fail(Code::io,
                root + ": no file of it can be listed" + (it == listing_.problems.end() ? "" : ": " + it->message));
  }

  Result<void> know() {
    known_.emplace(TRY(catalogue_.files_of_card(card_key(card_.volume))));
    files_.resize(listing_.files.size());
    return for_each_index(files_.size(), [&](std::size_t i) -> Result<void> {
      const auto& file = listing_.files[i];
      files_[i] = {file, TRY(known_->match(card_.fs, file)).row, {}, {}};
      return {};
    });
  }

  Result<void> find_destinations() {
    for (const auto& each : places_of(open_, TRY(catalogue_.destinations()))) {
      VisitPlace place{each.open, each.id, std::nullopt};
      if (each.absence)
        report_.problems.push_back(*each.absence);
      else
        place.target = TRY(add_target(*each.open, place));
      places_.push_back(place);
    }
    for (const auto& place : places_)
      if (place.target) target_places_.push_back(place);
    return {};
  }

  Result<std::size_t> add_target(OpenDestination& open, VisitPlace& place) {
    if (!options_.dry_run)
      place.id = TRY(catalogue_.destination(open.planned.name, open.planned.path, open.volume.disk, open.volume.uuid));
    targets_.push_back({open.planned.name, open.fs.get()});
    return targets_.size() - 1;
  }

  Result<void> open_roll() {
    std::vector<SeenFile> seen;
    for (const auto& file : files_) seen.push_back({file.row ? std::optional(file.row->id) : std::nullopt, file.file});
    std::map<std::int64_t, std::string> names;
    for (const auto& roll : TRY(catalogue_.rolls())) names[roll.id.value] = roll.name;
    Catalogue::Visit visit;
    if (!options_.dry_run) {
      const Roll roll{
          {}, "", clock_.now(), card_key(card_.volume), card_.root, report_.label, report_.uuid, report_.identity};
      visit = TRY(catalogue_.open_visit(roll, seen, [&](const std::string& name) { return taken(name); }));
    }
    RollId latest;
    for (std::size_t i = 0; i < files_.size(); ++i) {
      auto& file = files_[i];
      if (i < visit.files.size()) file.id = visit.files[i];
      const auto roll = file.row ? file.row->roll : visit.roll ? visit.roll->id : RollId{};
      if (visit.roll) names[visit.roll->id.value] = visit.roll->name;
      latest = std::max(latest, roll);
      file.folder = Path(plan_.slug()) / names[roll.value];
      rolls_.insert(roll);
    }
    // On a dry run new files have no roll yet, and would get a new one.
    const bool unnamed = options_.dry_run && std::any_of(files_.begin(), files_.end(), [](auto& f) { return !f.row; });
    if (!unnamed) report_.roll = names[latest.value];
    return {};
  }

  // Names that a filesystem can't hold are the exception: most of the time nothing is asked and nothing kept.
  void find_names() {
    names_.resize(targets_.size());
    if (options_.dry_run) return;
    std::vector<Path> paths = listing_.folders;
    for (const auto& file : files_) paths.push_back(file.file.path);
    for (const auto& row : known_->rows()) paths.push_back(row.file.path);
    const auto odd = unusual_in(paths);
    for (const auto& place : target_places_)
      names_[*place.target] = names_at(*place.open->fs, plan_.slug(), odd, known_->rows(), place.id);
  }

  // A roll of that name from another catalogue, or a folder somebody made.
  bool taken(const std::string& name) const {
    return std::any_of(targets_.begin(), targets_.end(),
                       [&](const Target& target) { return target.fs->stat(Path(plan_.slug()) / name).has_value(); });
  }

  // Whether this place has a verified copy of the file that stands as it was. One that does not is noted in altered_.
  bool has(const VisitPlace& place, const VisitFile& file) {
    if (!file.row) return false;
    for (const auto& copy : file.row->copies) {
      if (copy.destination != place.id || copy.state != CopyState::verified) continue;
      const auto now = look_at(copy, place.open, place.open->volume.uuid);
      if (now == CopySeen::Now::changed) altered_.emplace(place.open->planned.name, copy.stored.string());
      return now == CopySeen::Now::unchanged;
    }
    return false;
  }

  CopyPlan plan_what_to_copy() {
    std::vector<FileToCopy> wanted;
    wanted.reserve(files_.size());
    for (const auto& file : files_) {
      FileToCopy each{file.id, file.file, file.folder / file.file.path, {}};
      for (const auto& place : target_places_) {
        const auto target = *place.target;
        if (has(place, file)) each.done.insert(target);
        if (!names_[target].takes_all()) each.otherwise[target] = names_[target].of(file.folder, file.file.path);
      }
      wanted.push_back(std::move(each));
    }
    std::vector<TargetRoom> rooms;
    for (const auto& place : target_places_) rooms.push_back({place.open->planned.name, place.open->volume});
    auto plan = plan_copies(wanted, rooms);
    already_.resize(targets_.size());
    for (const auto& each : wanted)
      for (const auto target : each.done) ++already_[target];
    if (twice_) add_second_readings(plan);
    report_.problems.insert(report_.problems.end(), plan.problems.begin(), plan.problems.end());
    return plan;
  }

  // Files that are everywhere already and were read once only.
  void add_second_readings(CopyPlan& plan) const {
    std::set<std::int64_t> planned;
    for (const auto& job : plan.jobs) planned.insert(job.file.value);
    for (const auto& file : files_)
      if (file.row && file.row->readings < 2 && !planned.count(file.id.value))
        plan.jobs.push_back({file.id, file.file, file.folder / file.file.path, {}});
  }

  void copy(const CopyPlan& plan) {
    IngestWatcher::Start start{report_.roll, plan.jobs.size(), 0, {}, plan.bytes};
    for (const auto& job : plan.jobs) start.bytes += job.source.size;
    for (const auto& target : targets_) start.targets.push_back(target.name);
    watcher_.started(start);
    recording_.emplace(catalogue_, clock_, target_places_, plan.jobs, watcher_);
    const CopyOptions options{twice_};
    auto done = copy_files(card_.fs, plan.jobs, targets_, options, *recording_, stop_);
    if (done)
      if (const auto again = recording_->to_retry(plan.jobs); !again.empty())
        done = copy_files(card_.fs, again, targets_, {}, *recording_, stop_);
    if (!done) report_.ended = done.error();
    auto problems = recording_->problems();
    for (auto& problem : problems)  // what stands in the way was a copy once
      if (problem.code == "name_taken" && altered_.count({problem.destination, problem.path}) > 0)
        problem.code = "bytes_differ";
    report_.problems.insert(report_.problems.end(), problems.begin(), problems.end());
    if (!stop_.stop_requested()) make_empty_folders();
  }

  // The card's tree is kept whole. A destination that can't make them has said so for its files.
  void make_empty_folders() {
    const auto roll = Path(plan_.slug()) / report_.roll;
    for (const auto& folder : listing_.folders)
      for (std::size_t i = 0; i < targets_.size(); ++i) (void)targets_[i].fs->make_folder(names_[i].of(roll, folder));
  }

  Result<void> look_again() {
    const auto after = scan(card_.fs, stop_);
    if (!after) {
      report_.ended = after.error();
      return {};
    }
    if (after->files != listing_.files)
      report_.problems.push_back({"card_changed", "", "", "the card changed while it was copied: offload it again"});
    return {};
  }

  // Each roll of this card, at each place it was copied to.
  Result<void> leave_lists() {
    if (report_.ended) return {};
    for (const auto& roll : TRY(catalogue_.rolls()))
      if (rolls_.count(roll.id))
        for (const auto& place : target_places_)
          if (auto problem = TRY(leave_manifests(catalogue_, roll, *place.open, place.id, stop_)))
            report_.problems.push_back(std::move(*problem));
    return {};
  }

  // Last, so that it holds all of this visit: a destination must be able to stand alone.
  void leave_backups() {
    if (report_.ended) return;
    std::vector<OpenDestination*> here;
    for (const auto& place : target_places_) here.push_back(place.open);
    for (auto& problem : leave_catalogue(catalogue_, plan_, here)) report_.problems.push_back(std::move(problem));
  }

  Result<void> note_clips() {
    std::map<std::string, FileId> ids;
    for (const auto& file : files_) ids[file.file.path.string()] = file.id;
    report_.clips = TRY(catalogue_.put_clips(clips_of(listing_), ids));
    return {};
  }

  Result<void> note_problems() {
    RollId latest;
    for (const auto roll : rolls_) latest = std::max(latest, roll);
    return catalogue_.record_problems(latest, report_.problems, clock_.now());
  }

  Result<void> sum_up(const CopyPlan& plan) {
    std::set<std::int64_t> listed;
    for (const auto& file : files_) listed.insert(file.id.value);
    std::map<DestinationId, Holding> holding;
    TRY(catalogue_.for_each_file_of_card(card_key(card_.volume), [&](const FileRow& row) {
      if (!listed.count(row.id.value)) return;
      for (const auto& copy : row.copies) holding[copy.destination].add(copy, row.file.size);
    }));
    for (const auto& place : places_) report_.destinations.push_back(sum_up(place, plan, holding[place.id]));
    return {};
  }

  static Problem unproven_problem(const std::string& destination, std::size_t files) {
    return {"read_from_memory", "", destination,
            fmt::format("\"{}\": {} read back equal, but from memory for all that can be seen, so they don't count: "
                        "use another disk, or write accept_cached = true to this destination in the plan",
                        shown(destination), counted(files, "file"))};
  }

  IngestReport::Destination sum_up(const VisitPlace& place, const CopyPlan& plan, const Holding& holding) {
    IngestReport::Destination sum;
    sum.name = place.open->planned.name;
    sum.path = place.open->planned.path;
    sum.files = holding.verified;
    sum.bytes = holding.bytes;
    sum.readback = holding.readback;
    if (holding.unproven > 0) {
      sum.readback = Evidence::cached;
      report_.problems.push_back(unproven_problem(sum.name, holding.unproven));
    }
    if (!place.target) return sum;
    sum.already_files = already_[*place.target];
    sum.copied_files = recording_ ? recording_->stored(*place.target) : 0;
    sum.failed_files = recording_ ? recording_->failed(*place.target) : 0;
    const bool refused = plan.refused.count(*place.target) > 0;
    sum.state = sum.files == files_.size() ? State::verified : refused ? State::failed : State::incomplete;
    return sum;
  }

  Catalogue& catalogue_;
  const Plan& plan_;
  const Clock& clock_;
  const Card& card_;
  const std::span<OpenDestination> open_;
  const IngestOptions& options_;
  const IngestWatcher& watcher_;
  const std::stop_token stop_;
  const bool twice_;

  IngestReport report_;
  Listing listing_;
  std::optional<KnownFiles> known_;
  std::vector<VisitFile> files_;  // as listing_.files
  std::set<RollId> rolls_;
  std::vector<VisitPlace> places_;         // every destination
  std::vector<VisitPlace> target_places_;  // those that are there, by target
  std::vector<Target> targets_;
  std::vector<NamesThere> names_;  // by target
  std::vector<std::size_t> already_;
  std::set<std::pair<std::string, std::string>>
      altered_;  // destination and stored path of a copy that is not as it was
  std::optional<Recording> recording_;
};

}  // namespace

Result<IngestReport> Pipeline::ingest(const Card& card, std::span<OpenDestination> destinations,
                                      const IngestOptions& options, const IngestWatcher& watcher,
                                      std::stop_token stop) {
  std::optional<Lease> lease;
  if (!options.dry_run) lease.emplace(TRY(Lease::take(catalogue_, card_key(card.volume), clock_)));
  return Visit(catalogue_, plan_, clock_, card, destinations, options, watcher, std::move(stop)).run();
}

}  // namespace everytake
