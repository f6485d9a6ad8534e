// A card and two disks in memory, and a real catalogue: what tests of whole visits need.
#pragma once

#include <gtest/gtest.h>

#include <memory>
#include <set>
#include <string>
#include <vector>

#include "pipeline/pipeline.h"
#include "pipeline/shoot_folders.h"
#include "support/fault_fs.h"
#include "support/rooms.h"
#include "support/temp_dir.h"

namespace everytake::test {

class IngestBench : public testing::Test {
 protected:
  IngestBench() {
    plan_.title = "Saltmarsh Radio";
    for (const char* name : {"desk", "shuttle"}) add_destination(name);
    shoot("C0001", 1);
    shoot("C0002", 2);
    card_.put("PRIVATE/M4ROOT/STATUS.BIN", "status");
  }

  void add_destination(const std::string& name) {
    disks_.push_back(std::make_unique<MemFs>());
    PlannedDestination planned;
    planned.name = name;
    planned.path = "/media/" + name;
    plan_.destinations.push_back(planned);
  }

  void shoot(const std::string& clip, unsigned seed) {
    std::string bytes(300'000, static_cast<char>('a' + seed % 26));
    bytes[1000] = static_cast<char>(seed);
    card_.put("PRIVATE/M4ROOT/CLIP/" + clip + ".MP4", bytes, FileTime(std::chrono::seconds(1'700'000'000 + seed)));
    card_.put("PRIVATE/M4ROOT/CLIP/" + clip + "M01.XML", "<x/>" + std::to_string(seed));
  }

  // The destinations as they are now; those named absent are not connected.
  std::vector<OpenDestination> open(const std::string& absent = "") {
    std::vector<OpenDestination> all;
    for (std::size_t i = 0; i < disks_.size(); ++i) {
      OpenDestination each{plan_.destinations[i], nullptr, *disks_[i]->volume(), ""};
      if (each.planned.name != absent) each.fs = std::make_unique<FaultFs>(*disks_[i]);
      all.push_back(std::move(each));
    }
    return all;
  }

  Result<IngestReport> offload(const ReadFs& card, std::vector<OpenDestination> destinations) {
    return Pipeline(*catalogue_, plan_, clock_).ingest(seen(card), destinations, options_, {}, {});
  }
  Card seen(const ReadFs& card) const { return {"/media/card", card, *card_.volume()}; }
  Result<IngestReport> offload() { return offload(card_, open()); }

  Verdict check_safe(bool every_byte = false, const std::string& absent = "") {
    auto destinations = open(absent);
    return *Pipeline(*catalogue_, plan_, clock_).check_safe(seen(card_), destinations, every_byte, {});
  }

  std::set<std::string> codes(const Verdict& verdict) {
    std::set<std::string> all;
    for (const auto& reason : verdict.reasons) all.insert(to_string(reason.code));
    return all;
  }

  Path at(const std::string& roll, const std::string& clip) {
    return Path("saltmarsh-radio") / roll / "PRIVATE/M4ROOT/CLIP" / (clip + ".MP4");
  }

  // The unfinished file of a clip, by its row's number.
  std::string part(const std::string& roll, int file) {
    const auto name = (*token_of(*catalogue_)) + "-" + std::to_string(file) + ".everytake-part";
    return (at(roll, "C").parent_path() / name).string();
  }
  // The notes that a shoot leaves beside its rolls are not counted.
  static std::set<std::string> copies_on(const MemFs& disk) {
    auto files = disk.files();
    std::erase_if(files, [](const std::string& file) { return file.find("/R0") == std::string::npos; });
    return files;
  }

  TempDir dir_{"/dev/shm"};  // a power cut is the disks' affair here, not the catalogue's
  Plan plan_;
  SystemClock clock_;
  MemFs card_;
  std::vector<std::unique_ptr<MemFs>> disks_;
  IngestOptions options_;
  std::unique_ptr<Catalogue> catalogue_ = *Catalogue::open(dir_ / "catalogue.sqlite");
};

}  // namespace everytake::test
