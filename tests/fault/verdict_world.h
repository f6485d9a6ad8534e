// A whole world that things happen to: a card, two disks and what may stand in for them, several catalogues. What the
// disks truly hold is looked up, and every yes is compared with it.
#pragma once

#include <rapidcheck.h>

#include <cstdio>
#include <map>
#include <set>
#include <string>
#include <vector>

#include "fault/history.h"
#include "pipeline/marks.h"
#include "support/ingest_bench.h"
#include "support/rooms.h"

namespace everytake::test {

inline constexpr const char* kFolder = "PRIVATE/M4ROOT/CLIP/";
inline constexpr std::size_t kClipSize = 3000;

// What the disks truly hold is looked up, not remembered.
class World {
 public:
  World(const Path& folder, Disks kind) : folder_(folder), kind_(kind) {
    for (auto* plan : {&plan_, &other_plan_}) {
      plan->title = "Saltmarsh Radio";
      for (const char* name : {"desk", "shuttle"}) {
        PlannedDestination planned;
        planned.name = name;
        planned.path = std::string("/media/") + name;
        plan->destinations.push_back(planned);
      }
    }
    plan_.performer = "Tollhouse Four";
    other_plan_.performer = "The Dunlin Five";
    for (auto* plan : {&plan_, &other_plan_})
      plan->text = "[shoot]\ntitle = \"" + plan->title + "\"\nperformer = \"" + plan->performer +
                   "\"\nframe_rate = \"24/1\"\n[song]\nlength = \"2:00\"\n[[destination]]\nname = \"desk\"\npath = "
                   "\"/media/desk\"\n[[destination]]\nname = \"shuttle\"\npath = \"/media/shuttle\"\n";
    for (auto& disk : disks_) disk = new_disk();
    catalogue_ = new_catalogue();
    shoot(0);
    shoot(1);
    put(other_card_, 0, ++content_);
  }

  void apply(const Step& step) {
    const auto disk = step.pick % 2;
    const auto before = everything();
    ++tally.events[kNames[static_cast<int>(step.event)]];
    happen(step, disk);
    if (!is_natural(step.event)) check_nothing_lost(before);
  }

  // What the promise is about: every byte on the card is on two disks that are here and alive. Bit rot that came after
  // a copy was read back can't be seen without reading, so such a copy is forgiven until the next reading; and a bit
  // that the reader flipped in the only reading of the card can't be seen by a verdict that says it rests on one.
  void check() {
    for (const bool every_byte : {false, true}) {
      const auto verdict = check_safe(card_, every_byte, is_on_card_);
      if (!verdict.safe) continue;
      ++tally.yeses;
      RC_ASSERT(!is_on_card_);
      for (const auto& [clip, bytes] : clips_)
        for (int disk = 0; disk < 2; ++disk) {
          RC_ASSERT(here_[disk] && !dead_[disk]);
          const bool forgiven = rotten_.count({disk, bytes}) || (verdict.readings < 2 && flipped_.count(bytes));
          RC_ASSERT(holds(*disks_[disk], bytes) || forgiven);
        }
    }
  }

  // With everything as it should be, another visit brings a yes. Copies that were spoiled are repaired by verify and
  // repair.
  void check_no_needless_no() {
    for (int disk = 0; disk < 2; ++disk) {
      here_[disk] = true;
      dead_[disk] = false;
      disks_[disk]->set_dead(false);
    }
    is_on_card_ = false;
    offload(card_);
    look_after(true);
    offload(card_);
    offload(card_);
    const auto verdict = check_safe(card_, true, false);
    if (!verdict.safe && !verdict.reasons.empty())
      RC_LOG() << to_string(verdict.reasons[0].code) << ": " << verdict.reasons[0].message;
    RC_ASSERT(verdict.safe || !excuse_.empty());
    rotten_.clear();
    check();
  }

 private:
  static Path name(unsigned clip) { return std::string(kFolder) + "C000" + std::to_string(clip) + ".MP4"; }

  std::unique_ptr<MemFs> new_disk() const {
    auto disk = std::make_unique<MemFs>();
    auto volume = *disk->volume();
    volume.filesystem = kind_ == Disks::coarse ? "fuse.exfat" : "ext4";
    if (kind_ == Disks::coarse) volume.uuid = "";
    disk->set_volume(volume);
    return disk;
  }

  std::unique_ptr<Catalogue> new_catalogue() { return *Catalogue::empty(); }

  void happen(const Step& step, unsigned disk) {
    switch (step.event) {
      case Event::offload:
        return offload(card_);
      case Event::twice:
        return offload(card_, {false, true});
      case Event::interrupted:
        return interrupted(step.pick);
      case Event::hiccup:
        return hiccup(step.pick);
      case Event::shoot_more:
        return shoot(step.pick % 4);
      case Event::reshoot:  // the same name, size and time, other bytes
        if (clips_.count(step.pick % 4)) put(card_, step.pick % 4, ++content_);
        return;
      case Event::change_middle:
        return change_middle(step.pick % 4);
      case Event::shift_times:
        return shift_times(step.pick);
      case Event::wipe:
        for (const auto& [clip, bytes] : clips_) (void)card_.remove(name(clip));
        clips_.clear();
        return shoot(step.pick % 4);
      case Event::unplug:
      case Event::plug_in:
        here_[disk] = step.event == Event::plug_in;
        return;
      case Event::die:
      case Event::revive:
        dead_[disk] = step.event == Event::die;
        return disks_[disk]->set_dead(dead_[disk]);
      case Event::alter:
      case Event::rot:
      case Event::lose:
        return spoil(step, *disks_[disk]);
      case Event::power_cut:
        return disks_[disk]->crash(step.pick);
      case Event::flaky:
        return flaky(step.pick);
      case Event::flip:
        return flip(step.pick);
      case Event::bad_write:
        return bad_write(step.pick);
      case Event::verify:
      case Event::repair:
        return look_after(step.event == Event::repair);
      case Event::repair_cut:
        return repair_cut(step.pick);
      case Event::folder:
        return folder();
      case Event::on_card:
        is_on_card_ = step.pick % 2;
        return;
      case Event::clone:
        return clone(disk, step.pick);
      case Event::other_shoot:
        return other_shoot();
      case Event::rival:
        return rival();
      case Event::restore:
        return restore(disk);
    }
  }

  // What no program does.
  static bool is_natural(Event event) {
    return event == Event::alter || event == Event::rot || event == Event::lose || event == Event::power_cut ||
           event == Event::interrupted || event == Event::repair_cut || event == Event::clone;
  }

  // ---- The card ----

  void put(MemFs& card, unsigned clip, unsigned content) {
    std::string bytes = "clip " + std::to_string(content) + " ";
    bytes.resize(kClipSize, static_cast<char>('a' + content % 26));  // one size for all: only bytes tell them apart
    if (&card == &card_) clips_[clip] = bytes;
    card.put(name(clip), bytes);
  }
  void shoot(unsigned clip) {
    if (!clips_.count(clip)) put(card_, clip, ++content_);
  }
  // Samples of clips so small are all of them: it is as if they were shot again.
  void change_middle(unsigned clip) {
    if (!clips_.count(clip)) return;
    card_.alter(name(clip), kClipSize / 2);
    clips_[clip] = card_.get(name(clip));
  }
  void shift_times(unsigned pick) {
    for (const auto& [clip, bytes] : clips_)
      card_.put(name(clip), bytes, card_.stat(name(clip))->mtime + std::chrono::minutes(15) * (pick % 5));
  }

  // ---- What the disks hold ----

  // Those that were set aside too: "R001.bad/.../C0001.MP4~2".
  static bool is_copy(const std::string& file) {
    return file.find("everytake-part") == std::string::npos && file.find(".MP4") != std::string::npos;
  }
  static bool holds(const MemFs& disk, const std::string& bytes) {
    for (const auto& file : disk.files())
      if (is_copy(file) && disk.get(file) == bytes) return true;
    return false;
  }
  std::vector<std::set<std::string>> everything() const {
    std::vector<std::set<std::string>> all(2);
    for (int i = 0; i < 2; ++i)
      for (const auto& file : disks_[i]->files())
        if (is_copy(file)) all[i].insert(disks_[i]->get(file));
    return all;
  }
  void check_nothing_lost(const std::vector<std::set<std::string>>& before) const {
    for (int i = 0; i < 2; ++i)
      for (const auto& bytes : before[i]) RC_ASSERT(holds(*disks_[i], bytes));
  }

  // ---- The programs ----

  std::vector<OpenDestination> open() {
    std::vector<OpenDestination> all;
    for (int i = 0; i < 2; ++i) {
      OpenDestination each{plan_.destinations[i], nullptr, *disks_[i]->volume(), ""};
      if (here_[i]) each.fs = std::make_unique<FaultFs>(*disks_[i]);
      all.push_back(std::move(each));
    }
    return all;
  }

  Verdict check_safe(const ReadFs& card, bool every_byte, bool on_card) {
    auto destinations = open();
    auto volume = *card_.volume();
    if (on_card) volume.disks = disks_[0]->volume()->disks;
    return *Pipeline(*catalogue_, plan_, clock_)
                .check_safe({"/media/card", card, volume, on_card}, destinations, every_byte, {});
  }

  void offload(const ReadFs& card, std::vector<OpenDestination>& destinations, const IngestOptions& options = {}) {
    const auto report = Pipeline(*catalogue_, plan_, clock_)
                            .ingest({"/media/card", card, *card_.volume()}, destinations, options, {}, {});
    if (!report && report.error().code == Code::invalid) excuse_ = report.error().what;
  }
  void offload(const ReadFs& card, const IngestOptions& options = {}) {
    auto destinations = open();
    offload(card, destinations, options);
  }

  // Some operation at a disk, any of those that a visit does there.
  static std::string some_operation(unsigned pick) {
    static constexpr const char* kKinds[] = {
        "create",      "append", "set_mtime", "sync", "close", "sync_all", "rename", "replace", "sync_folder",
        "make_folder", "stat",   "list",      "open", "read",  "fstat",    "remove", "volume",  "still_there"};
    return std::string(kKinds[pick % std::size(kKinds)]) + " * #" + std::to_string(1 + pick / std::size(kKinds) % 12);
  }

  // One of the disks with a fault before it, where it is here.
  FaultFs* faulty(std::vector<OpenDestination>& destinations, unsigned disk) {
    return dynamic_cast<FaultFs*>(destinations[disk].fs.get());
  }

  void count(const char* fault, const FaultFs* disk) { tally.met[fault] += disk && disk->hit(); }

  // A disk dies at some operation of the visit, and with the power.
  void interrupted(unsigned pick) {
    auto destinations = open();
    auto* disk = faulty(destinations, pick % 2);
    if (disk) disk->fail_at(some_operation(pick / 2), Code::io, FaultFs::Then::dead);
    offload(card_, destinations);
    count("interrupted", disk);
    disks_[pick % 2]->crash(pick);
  }

  // Some operation at a disk fails once.
  void hiccup(unsigned pick) {
    auto destinations = open();
    auto* disk = faulty(destinations, pick % 2);
    if (disk) disk->fail_at(some_operation(pick / 2), pick % 3 ? Code::io : Code::no_space);
    offload(card_, destinations);
    count("hiccup", disk);
  }

  void repair_cut(unsigned pick) {
    auto destinations = open();
    auto* disk = faulty(destinations, pick % 2);
    if (disk) disk->fail_at(some_operation(pick / 2), Code::io, FaultFs::Then::dead);
    (void)Pipeline(*catalogue_, plan_, clock_).repair(destinations, {}, {}, {});
    count("repair_cut", disk);
    disks_[pick % 2]->crash(pick);
  }

  void flaky(unsigned pick) {
    FaultFs reader(card_);
    const auto operation = "read " + name(pick % 4).string() + " #1";
    if (pick & 4)
      reader.fail_at(operation, Code::io);
    else
      reader.fail_at(operation, Code::gone, FaultFs::Then::dead);
    offload(reader);
    count("flaky", &reader);
  }

  // The reader gives a wrong bit, once, in the first reading or a later one.
  void flip(unsigned pick) {
    FaultFs reader(card_);
    reader.flip_at("read " + name(pick % 4).string() + " #" + std::to_string(1 + pick / 4 % 3));
    offload(reader, {false, pick % 3 == 0});
    count("flip", &reader);
    if (reader.hit()) flipped_.insert(clips_[pick % 4]);
  }

  // A bit changes on its way to a disk, or on its way back from there.
  void bad_write(unsigned pick) {
    auto destinations = open();
    auto* disk = faulty(destinations, pick % 2);
    if (disk) disk->flip_at((pick / 2 % 4 ? "append * #" : "read * #") + std::to_string(1 + pick / 8 % 8));
    offload(card_, destinations);
    count("bad_write", disk);
  }

  void spoil(const Step& step, MemFs& disk) {
    std::vector<std::string> copies;
    for (const auto& file : disk.files())
      if (file.ends_with(".MP4")) copies.push_back(file);
    if (copies.empty()) return;
    const auto& file = copies[step.pick / 2 % copies.size()];
    const auto before = disk.get(file);
    if (kind_ == Disks::coarse) {
      // Coarse times and sizes can't show any of it, but that a file is gone.
      if (step.event != Event::lose) rotten_.insert({static_cast<int>(step.pick % 2), before});
    } else if (step.event == Event::rot) {
      rotten_.insert({static_cast<int>(step.pick % 2), before});
    }
    if (step.event == Event::lose) {
      (void)disk.remove(file);
    } else if (step.event == Event::rot) {
      disk.alter(file, 1500);
    } else {
      auto bytes = before;
      bytes[1500] ^= 1;
      disk.put(file, bytes, disk.stat(file)->mtime);
    }
  }

  void look_after(bool repair) {
    auto destinations = open();
    Pipeline pipeline(*catalogue_, plan_, clock_);
    const auto verified = pipeline.verify(destinations, {}, [](auto, auto) {}, {});
    RC_ASSERT(verified.has_value());
    for (int i = 0; i < 2; ++i)
      if (here_[i] && verified->destinations[i].is_here && !dead_[i])
        std::erase_if(rotten_, [&](const auto& each) { return each.first == i; });
    if (repair) RC_ASSERT(pipeline.repair(destinations, {}, {}, {}).has_value());
  }

  // The card's PRIVATE folder, named as if it were a card.
  void folder() {
    MemFs below;
    for (const auto& [clip, bytes] : clips_) {
      const auto file = name(clip).string();
      below.put(file.substr(std::string("PRIVATE/").size()), bytes, card_.stat(file)->mtime);
    }
    auto volume = *card_.volume();
    volume.within = "/PRIVATE";
    auto destinations = open();
    const Card card{"/media/card/PRIVATE", below, volume};
    Pipeline pipeline(*catalogue_, plan_, clock_);
    (void)pipeline.ingest(card, destinations, {}, {}, {});
    const auto verdict = *pipeline.check_safe(card, destinations, false, {});
    if (!verdict.safe) return;
    for (const auto& [clip, bytes] : clips_)
      for (int disk = 0; disk < 2; ++disk)
        RC_ASSERT(holds(*disks_[disk], bytes) || rotten_.count({disk, bytes}) || flipped_.count(bytes));
  }

  // Another disk takes a disk's place: the copy of it as it is now, or an empty one of the same name.
  void clone(unsigned disk, unsigned pick) {
    auto other = new_disk();
    other->number_on_from(*disks_[disk]);
    const bool is_copy = pick / 2 % 2;
    if (is_copy) {
      for (const auto& file : disks_[disk]->files())
        other->put(file, disks_[disk]->get(file), disks_[disk]->stat(file)->mtime);
      other->set_volume(*disks_[disk]->volume());
    }
    for (const auto& file : other->files()) (void)other->sync_folder(Path(file).parent_path());
    (void)other->sync_all();
    disks_[disk] = std::move(other);
    dead_[disk] = false;
    excuse_ = "a disk was replaced";
  }

  // Another shoot of the same name uses the same disks, from a catalogue of its own.
  void other_shoot() {
    if (!other_) other_ = new_catalogue();
    auto destinations = open();
    Pipeline pipeline(*other_, other_plan_, clock_);
    (void)pipeline.ingest({"/media/other", other_card_, *other_card_.volume()}, destinations, {}, {}, {});
    (void)pipeline.repair(destinations, {}, {}, {});
  }

  // A new catalogue of the same shoot: it may only begin where nothing of the shoot is kept.
  void rival() {
    std::vector<std::string> kept;
    for (const auto& disk : disks_) kept.push_back(disk->get("saltmarsh-radio/catalogue.sqlite"));
    const auto catalogue = new_catalogue();
    auto destinations = open();
    const auto began =
        Pipeline(*catalogue, plan_, clock_).ingest({"/media/card", card_, *card_.volume()}, destinations, {}, {}, {});
    for (int i = 0; i < 2; ++i)
      if (!kept[i].empty()) RC_ASSERT(disks_[i]->get("saltmarsh-radio/catalogue.sqlite") == kept[i]);
    if (began) excuse_ = "another catalogue of this shoot was first";
  }

  // The laptop is lost: the catalogue that a disk keeps takes its place.
  void restore(unsigned disk) {
    if (!here_[disk] || dead_[disk]) return;
    const auto bytes = disks_[disk]->get("saltmarsh-radio/catalogue.sqlite");
    const auto owner = read_owner(*disks_[disk], "saltmarsh-radio");
    if (bytes.empty() || !owner || !*owner) return;
    const auto file = folder_ / ("restored" + std::to_string(++catalogues_ % 8) + ".sqlite");
    for (const char* more : {"", "-journal"}) std::remove((file.string() + more).c_str());
    put_file(file, bytes);
    auto restored = Catalogue::open(file);
    if (!restored || !(*restored)->check()) return;  // damaged on its way to the disk: rebuild passes it over
    catalogue_ = std::move(*restored);
    RC_ASSERT(catalogue_->distrust_copies().has_value());
    RC_ASSERT(catalogue_->take_over((*owner)->catalogue, (*owner)->stamp).has_value());
    excuse_ = "the catalogue of one disk took the place of a newer one";
  }

  const Path folder_;
  const Disks kind_;
  Plan plan_, other_plan_;
  SystemClock clock_;
  MemFs card_, other_card_;
  std::unique_ptr<MemFs> disks_[2];
  bool here_[2] = {true, true};
  bool dead_[2] = {false, false};
  bool is_on_card_ = false;
  std::unique_ptr<Catalogue> catalogue_, other_;
  std::map<unsigned, std::string> clips_;  // what the card holds
  std::set<std::pair<int, std::string>> rotten_;
  std::set<std::string> flipped_;  // what the reader once gave wrong
  std::string excuse_;             // why there may be a no in the end
  unsigned content_ = 0;
  int catalogues_ = 0;
};

}  // namespace everytake::test
