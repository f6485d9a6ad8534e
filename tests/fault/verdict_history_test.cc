// Random histories of a shoot against a tiny model: the verdict is never a wrong yes, and says yes when all is well.
// EVERYTAKE_HISTORIES says how many histories (40 where it is not set; 100000 is the long mode).
#include <gtest/gtest.h>
#include <malloc.h>
#include <rapidcheck.h>

#include <cstdlib>

#include "support/ingest_bench.h"

namespace everytake {
namespace {

using test::FaultFs;
using test::MemFs;

// What can happen on a set. Numbers pick clips and disks, modulo how many there are.
enum class Event {
  offload,
  interrupted,
  shoot_more,
  reshoot,
  wipe,
  unplug,
  plug_in,
  alter,
  rot,
  lose,
  power_cut,
  flaky,
  verify,
  mend
};
constexpr int kEvents = 14;

struct Step {
  Event event;
  unsigned pick;
};

std::ostream& operator<<(std::ostream& out, const Step& step) {
  static constexpr const char* kNames[kEvents] = {"offload",   "interrupted", "shoot_more", "reshoot", "wipe",
                                                  "unplug",    "plug_in",     "alter",      "rot",     "lose",
                                                  "power_cut", "flaky",       "verify",     "mend"};
  return out << kNames[static_cast<int>(step.event)] << ' ' << step.pick;
}

constexpr const char* kFolder = "PRIVATE/M4ROOT/CLIP/";

// The card and two disks in memory; what the disks truly hold is looked up, not remembered.
class Shoot {
 public:
  explicit Shoot(const Path& folder, int number) {
    plan_.title = "Saltmarsh Radio";
    for (const char* name : {"desk", "shuttle"}) {
      PlannedDestination planned;
      planned.name = name;
      planned.path = std::string("/media/") + name;
      plan_.destinations.push_back(planned);
    }
    const auto file = folder / ("h" + std::to_string(number % 2) + ".sqlite");
    std::remove(file.c_str());
    std::remove((file.string() + "-journal").c_str());
    catalogue_ = *Catalogue::open(file);
    shoot(0);
    shoot(1);
  }

  void apply(const Step& step) {
    const auto disk = step.pick % 2;
    switch (step.event) {
      case Event::offload:
        return offload(card_, "", 0);
      case Event::interrupted:
        return interrupted(step.pick);
      case Event::shoot_more:
        return shoot(step.pick % 4);
      case Event::reshoot:  // the same name, size and time, other bytes
        if (clips_.count(step.pick % 4)) put(step.pick % 4, ++content_);
        return;
      case Event::wipe:
        for (const auto& [clip, bytes] : clips_) (void)card_.remove(name(clip));
        clips_.clear();
        return shoot(step.pick % 4);
      case Event::unplug:
        here_[disk] = false;
        return;
      case Event::plug_in:
        here_[disk] = true;
        return;
      case Event::alter:
      case Event::rot:
      case Event::lose:
        return spoil(step, disks_[disk]);
      case Event::power_cut:
        return disks_[disk].crash(step.pick);
      case Event::flaky:
        return flaky(step.pick);
      case Event::verify:
      case Event::mend:
        return look_after(step.event == Event::mend);
    }
  }

  // What the promise is about: every byte on the card is on two disks that are here. Bit rot that came after a copy was
  // read back can't be seen without reading, so such a copy is forgiven until the next reading.
  void check() {
    auto destinations = open();
    const auto verdict =
        *Pipeline(*catalogue_, plan_, clock_).judge({"/media/card", card_, *card_.volume()}, destinations, false, {});
    if (!verdict.safe) return;
    for (const auto& [clip, bytes] : clips_)
      for (int disk = 0; disk < 2; ++disk) {
        RC_ASSERT(here_[disk]);
        RC_ASSERT(holds(disks_[disk], bytes) || rotten_.count({disk, bytes}));
      }
  }

  // With everything plugged in, another visit brings a yes. Copies that were spoiled are mended by verify and mend.
  void check_no_needless_no() {
    here_[0] = here_[1] = true;
    offload(card_, "", 0);
    look_after(true);
    offload(card_, "", 0);
    auto destinations = open();
    const auto verdict =
        *Pipeline(*catalogue_, plan_, clock_).judge({"/media/card", card_, *card_.volume()}, destinations, true, {});
    if (!verdict.safe && !verdict.reasons.empty())
      RC_LOG() << verdict.reasons[0].code << ": " << verdict.reasons[0].message;
    RC_ASSERT(verdict.safe || spoiled_);
    rotten_.clear();
    check();
  }

 private:
  static Path name(unsigned clip) { return std::string(kFolder) + "C000" + std::to_string(clip) + ".MP4"; }

  void put(unsigned clip, unsigned content) {
    std::string bytes = "clip " + std::to_string(content) + " ";
    bytes.resize(3000, static_cast<char>('a' + content % 26));  // one size for all: only bytes tell them apart
    clips_[clip] = bytes;
    card_.put(name(clip), bytes);
  }
  void shoot(unsigned clip) {
    if (!clips_.count(clip)) put(clip, ++content_);
  }

  static bool holds(const MemFs& disk, const std::string& bytes) {
    for (const auto& file : disk.files())
      if (file.find("everytake-part") == std::string::npos && file.ends_with(".MP4") && disk.get(file) == bytes)
        return true;
    return false;
  }

  std::vector<OpenDestination> open() {
    std::vector<OpenDestination> all;
    for (int i = 0; i < 2; ++i) {
      OpenDestination each{plan_.destinations[i], nullptr, *disks_[i].volume(), ""};
      if (here_[i]) each.fs = std::make_unique<FaultFs>(disks_[i]);
      all.push_back(std::move(each));
    }
    return all;
  }

  void offload(const ReadFs& card, const std::string& fault, unsigned disk) {
    auto destinations = open();
    if (!fault.empty() && destinations[disk].fs)
      dynamic_cast<FaultFs&>(*destinations[disk].fs).fail_at(fault, Code::io, FaultFs::Then::dead);
    (void)Pipeline(*catalogue_, plan_, clock_).ingest({"/media/card", card, *card_.volume()}, destinations, {}, {}, {});
  }

  // A disk dies at some operation of the visit, and with the power.
  void interrupted(unsigned pick) {
    auto destinations = open();
    static constexpr const char* kAt[] = {"create ", "append ", "sync_all ", "rename ", "sync_folder ", "make_folder "};
    const auto disk = pick % 2;
    const auto files = disks_[disk].files().size();
    const std::string roll = "saltmarsh-radio/R00" + std::to_string(1 + pick / 12 % 3);
    const auto kind = pick / 2 % 6;
    std::string operation = kAt[kind];
    if (kind == 0 || kind == 1)
      operation += roll + "/" + kFolder + "file-" + std::to_string(files + 1) + ".everytake-part";
    if (kind == 3) operation += roll + "/" + name(pick % 4).string();
    if (kind == 4) operation += roll + "/PRIVATE/M4ROOT/CLIP";
    if (kind == 5) operation += roll;
    offload(card_, operation + " #1", disk);
    disks_[disk].crash(pick);
  }

  void flaky(unsigned pick) {
    FaultFs reader(card_);
    const auto operation = "read " + name(pick % 4).string() + " #1";
    if (pick & 4)
      reader.fail_at(operation, Code::io);
    else
      reader.fail_at(operation, Code::gone, FaultFs::Then::dead);
    offload(reader, "", 0);
  }

  void spoil(const Step& step, MemFs& disk) {
    std::vector<std::string> copies;
    for (const auto& file : disk.files())
      if (file.ends_with(".MP4")) copies.push_back(file);
    if (copies.empty()) return;
    const auto& file = copies[step.pick / 2 % copies.size()];
    spoiled_ = true;
    const auto before = disk.get(file);
    if (step.event == Event::lose) {
      (void)disk.remove(file);
    } else if (step.event == Event::rot) {
      rotten_.insert({static_cast<int>(step.pick % 2), before});
      disk.alter(file, 1500);
    } else {
      auto bytes = before;
      bytes[1500] ^= 1;
      disk.put(file, bytes, disk.stat(file)->mtime);
    }
  }

  void look_after(bool mend) {
    auto destinations = open();
    Pipeline pipeline(*catalogue_, plan_, clock_);
    const auto verified = pipeline.verify(destinations, {}, [](auto, auto) {}, {});
    RC_ASSERT(verified.has_value());
    for (int i = 0; i < 2; ++i)
      if (here_[i]) std::erase_if(rotten_, [&](const auto& each) { return each.first == i; });
    if (mend) RC_ASSERT(pipeline.mend(destinations, {}, {}, {}).has_value());
  }

  Plan plan_;
  SystemClock clock_;
  MemFs card_;
  MemFs disks_[2];
  bool here_[2] = {true, true};
  std::unique_ptr<Catalogue> catalogue_;
  std::map<unsigned, std::string> clips_;  // what the card holds
  std::set<std::pair<int, std::string>> rotten_;
  unsigned content_ = 0;
  bool spoiled_ = false;
};

TEST(Verdict, IsNeverAWrongYesNorANeedlessNoInRandomHistories) {
  const char* said = std::getenv("EVERYTAKE_HISTORIES");
  const std::string parameters = std::string("max_size=14 max_success=") + (said ? said : "40");
  // Each visit takes and gives back some blocks of 4 MiB: kept, they are not cleared page by page by the kernel each
  // time.
  ::mallopt(M_MMAP_THRESHOLD, 1 << 30);
  ::mallopt(M_TRIM_THRESHOLD, 1 << 30);
  ::mallopt(M_ARENA_MAX, 4);
  ::setenv("RC_PARAMS", parameters.c_str(), 0);  // rapidcheck's own way; one that is set already stays
  test::TempDir folder{"/dev/shm"};
  int number = 0;
  const auto step =
      rc::gen::map(rc::gen::pair(rc::gen::inRange(0, kEvents), rc::gen::inRange(0U, 96U)), [](const auto& pair) {
        return Step{static_cast<Event>(pair.first), pair.second};
      });
  const bool held = rc::check("no wrong yes, no needless no", [&] {
    const auto history = *rc::gen::container<std::vector<Step>>(step);
    Shoot shoot(folder.path(), ++number);
    for (const auto& each : history) {
      shoot.apply(each);
      shoot.check();
    }
    shoot.check_no_needless_no();
  });
  EXPECT_TRUE(held);
}

}  // namespace
}  // namespace everytake
