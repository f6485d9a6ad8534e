// How fast a card gets onto two folders of one disk: ours beside the way by hand, and beside the disk's own limit.
#include <fcntl.h>
#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <boost/filesystem.hpp>
#include <chrono>
#include <cstdlib>
#include <functional>
#include <iostream>
#include <random>
#include <thread>

#include "bench/bench.h"
#include "offload/hash.h"
#include "os/posix_fs.h"
#include "pipeline/pipeline.h"
#include "support/rooms.h"
#include "support/shell.h"
#include "support/temp_dir.h"

namespace everytake::bench {
namespace {

using test::quoted;
using test::shell;
namespace fs = boost::filesystem;

constexpr std::uint64_t kMiB = 1 << 20;
constexpr std::size_t kBlock = 4 * kMiB;

struct Options {
  Path on = fs::temp_directory_path();
  Path card_on = "/dev/shm";  // the slow card
  std::uint64_t card_mib = 2048;
  std::uint64_t slow_mib = 4096;  // enough that its last clip, which can only be read back afterwards, is a small part
  int rounds = 5;
  std::string only;  // "large", "slow", "small" or "hashing"; empty: all of them

  bool wants(const char* part) const { return only.empty() || only == part; }
};

double seconds_of(const std::function<void()>& work) {
  const auto begun = std::chrono::steady_clock::now();
  work();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count();
}

void must(bool done, const std::string& what) {
  if (done) return;
  std::cerr << "bench offload: " << what << '\n';
  std::exit(1);
}

void run(const std::string& command) {
  const auto ran = shell(command);
  must(ran.exit == 0, command + ": " + ran.err);
}

// What is written is on the disk, and nothing of it in memory.
void settle() {
  run("sync && echo 3 >/proc/sys/vm/drop_caches");
}

// ---- Cards ----

void put_random(const Path& file, std::uint64_t size, std::uint64_t seed) {
  fs::create_directories(file.parent_path());
  std::mt19937_64 random(seed);
  std::vector<std::uint64_t> block(std::min<std::uint64_t>(size, kBlock) / 8 + 1);
  const Descriptor out(::open(file.c_str(), O_WRONLY | O_CREAT | O_CLOEXEC, 0644));
  for (std::uint64_t at = 0; at < size; at += kBlock) {
    for (auto& word : block) word = random();
    const auto count = static_cast<std::size_t>(std::min<std::uint64_t>(kBlock, size - at));
    must(::write(out.get(), block.data(), count) == static_cast<ssize_t>(count), "can't write " + file.string());
  }
}

// Clips of 256 MiB with their sidecars.
void large_card(const Path& folder, std::uint64_t mib) {
  for (std::uint64_t clip = 0; clip * 256 < mib; ++clip) {
    const auto name = fmt::format("PRIVATE/M4ROOT/CLIP/C{:04}", clip + 1);
    put_random(folder / (name + ".MP4"), std::min<std::uint64_t>(256, mib - clip * 256) * kMiB, clip);
    put_random(folder / (name + "M01.XML"), 4000, clip + 1000);
  }
}

void small_card(const Path& folder) {
  for (unsigned file = 0; file < 20'000; ++file)
    put_random(folder / fmt::format("DCIM/{:03}/P{:05}.JPG", 100 + file / 1000, file), 20'000, file);
}

// A card of 1000 files, as a day has them: clips, and three small files for each.
void day_card(const Path& folder) {
  for (unsigned clip = 0; clip < 250; ++clip) {
    const auto name = fmt::format("C{:04}", clip + 1);
    put_random(folder / "PRIVATE/M4ROOT/CLIP" / (name + ".MP4"), 6 * kMiB, clip);
    put_random(folder / "PRIVATE/M4ROOT/CLIP" / (name + "M01.XML"), 4000, clip + 1000);
    put_random(folder / "PRIVATE/M4ROOT/SUB" / (name + "S03.MP4"), 100'000, clip + 2000);
    put_random(folder / "PRIVATE/M4ROOT/THMBNL" / (name + "T01.JPG"), 20'000, clip + 3000);
  }
}

std::vector<Path> files_of(const Path& folder) {
  std::vector<Path> all;
  for (const auto& entry : fs::recursive_directory_iterator(folder))
    if (fs::is_regular_file(entry.path())) all.push_back(fs::relative(entry.path(), folder));
  std::sort(all.begin(), all.end());
  return all;
}

// ---- Ways ----

struct Stage {
  Path card, dir;
  Path shoot{}, one{}, two{};
  int number = 0;

  std::string plan() const {
    return "[shoot]\ntitle = \"Saltmarsh Radio\"\nperformer = \"Tollhouse Four\"\nframe_rate = \"24000/1001\"\n"
           "[song]\nlength = \"2:08\"\n[[member]]\nname = \"Ada\"\n"
           "[[section]]\nname = \"Intro\"\nstart = \"0:00\"\nend = \"2:08\"\n" +
           destination("one", one) + destination("two", two);
  }
  // Empty folders. What went before stays where `keep` says so: ext4 is slow to make files where many were removed a
  // moment ago.
  void clear(bool keep = false) {
    if (!keep) fs::remove_all(one.parent_path());
    const auto here = dir / std::to_string(++number);
    for (auto [folder, name] : {std::pair(&shoot, "shoot"), std::pair(&one, "one"), std::pair(&two, "two")}) {
      *folder = here / name;
      fs::create_directories(*folder);
    }
    test::put_file(shoot / "shoot.toml", plan());
    settle();
  }

 private:
  static std::string destination(const std::string& name, const Path& path) {
    return "[[destination]]\nname = \"" + name + "\"\npath = \"" + path.string() + "\"\nsame_disk = \"allow\"\n";
  }
};

struct Ours {
  double seconds = 0;
  std::uint64_t peak_kib = 0;  // of memory
};

Ours by_program(Stage& stage, bool keep = false) {
  stage.clear(keep);
  Ours ours;
  const auto program = (Path(EVERYTAKE_BINARY_DIR) / "everytake").string();
  ours.seconds = seconds_of([&] {
    const pid_t pid = ::fork();
    if (pid == 0) {
      const int nowhere = ::open("/dev/null", O_WRONLY);
      ::dup2(nowhere, STDOUT_FILENO);
      ::execl(program.c_str(), "everytake", "--quiet", "--shoot", stage.shoot.c_str(), "offload", "--no-study",
              stage.card.c_str(), nullptr);
      ::_exit(127);
    }
    int status = 0;
    rusage used{};
    ::wait4(pid, &status, 0, &used);
    must(WIFEXITED(status) && WEXITSTATUS(status) == 0, "everytake offload failed");
    ours.peak_kib = static_cast<std::uint64_t>(used.ru_maxrss);
  });
  return ours;
}

double by_hand(Stage& stage) {
  stage.clear();
  return seconds_of([&] {
    const auto card = quoted(stage.card), one = quoted(stage.one), two = quoted(stage.two);
    run("cp -a " + card + " " + one + " && cp -a " + card + " " + two);
    settle();
    run("find " + card + " " + one + " " + two + " -type f -exec xxhsum -H2 {} + >/dev/null");
  });
}

using Block = std::unique_ptr<void, decltype(&std::free)>;
Block new_block() {
  return {std::aligned_alloc(kBlockAlign, kBlock), &std::free};
}

Descriptor open_direct(const Path& file, int flags) {
  Descriptor fd(::open(file.c_str(), flags | O_DIRECT | O_CLOEXEC, 0644));
  must(fd.get() >= 0, file.string() + " can't be opened for direct reading and writing");
  return fd;
}

void read_through(const Path& file) {
  const auto block = new_block();
  const auto fd = open_direct(file, O_RDONLY);
  while (::read(fd.get(), block.get(), kBlock) > 0) {
  }
}

// As many bytes in whole blocks, then synced.
void write_through(const Path& file, std::uint64_t size) {
  const auto block = new_block();
  const auto fd = open_direct(file, O_WRONLY | O_CREAT);
  for (std::uint64_t at = 0; at < size; at += kBlock) {
    const auto count = std::min<std::uint64_t>(kBlock, (size - at + kBlockAlign - 1) / kBlockAlign * kBlockAlign);
    must(::write(fd.get(), block.get(), count) == static_cast<ssize_t>(count), "can't write " + file.string());
  }
  must(::fsync(fd.get()) == 0, "can't sync " + file.string());
}

// The same bytes read once, written twice and read back twice, by three threads that wait for nothing but the disk; in
// two orders, for a disk may like the one or the other. The quicker one is as much as this disk can do.
double floor_of(Stage& stage) {
  const auto files = files_of(stage.card);
  const auto write = [&](const Path& folder, std::size_t i) {
    write_through(folder / std::to_string(i), fs::file_size(stage.card / files[i]));
  };
  const auto read_back = [&](const Path& folder, std::size_t i) { read_through(folder / std::to_string(i)); };
  const auto with_each_file = [&](const Path& folder) {
    for (std::size_t i = 0; i < files.size(); ++i) {
      write(folder, i);
      read_back(folder, i);
    }
  };
  const auto at_the_end = [&](const Path& folder) {
    for (std::size_t i = 0; i < files.size(); ++i) write(folder, i);
    for (std::size_t i = 0; i < files.size(); ++i) read_back(folder, i);
  };
  const auto timed = [&](const auto& order) {
    stage.clear();
    return seconds_of([&] {
      const std::jthread one([&] { order(stage.one); }), two([&] { order(stage.two); });
      for (const auto& file : files) read_through(stage.card / file);
    });
  };
  const double with_each = timed(with_each_file);
  return std::min(with_each, timed(at_the_end));
}

// As careful, a file at a time: written, synced, read back, renamed, its folder synced, at both folders.
double one_sync_a_file(Stage& stage) {
  stage.clear(true);
  const auto files = files_of(stage.card);
  return seconds_of([&] {
    for (const auto& file : files)
      for (const auto& folder : {stage.one, stage.two}) {
        const auto target = folder / file, part = Path(target.string() + ".part");
        fs::create_directories(target.parent_path());
        fs::copy_file(stage.card / file, part);
        const Descriptor written(::open(part.c_str(), O_RDONLY | O_CLOEXEC));
        must(::fsync(written.get()) == 0, "can't sync " + part.string());
        const auto root = PosixFs::open_at(part.parent_path());
        must(root && hash_file(**root, part.filename(), Cache::avoid, {}), "can't read " + part.string());
        fs::rename(part, target);
        const Descriptor names(::open(target.parent_path().c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
        must(::fsync(names.get()) == 0, "can't sync a folder");
      }
  });
}

// ---- A slow card ----

// Gives bytes no faster than a rate, as a card reader does.
class SlowFile final : public ReadFile {
 public:
  using Moment = std::chrono::steady_clock::time_point;
  SlowFile(std::unique_ptr<ReadFile> file, double bytes_per_second, Moment& free)
      : file_(std::move(file)), rate_(bytes_per_second), free_(free) {}

  Result<std::size_t> read(std::span<std::byte> buffer, std::uint64_t offset) override {
    const auto got = TRY(file_->read(buffer, offset));
    free_ =
        std::max(free_, std::chrono::steady_clock::now() - std::chrono::milliseconds(20)) +
        std::chrono::duration_cast<Moment::duration>(std::chrono::duration<double>(static_cast<double>(got) / rate_));
    std::this_thread::sleep_until(free_);
    return got;
  }
  Result<FileStat> stat() const override { return file_->stat(); }
  Evidence evidence() const override { return file_->evidence(); }

 private:
  const std::unique_ptr<ReadFile> file_;
  const double rate_;
  Moment& free_;  // when the reader is free again; of one thread, that which reads the card
};

class SlowFs final : public ReadFs {
 public:
  SlowFs(const ReadFs& fs, double bytes_per_second) : fs_(fs), rate_(bytes_per_second) {}
  Result<FileStat> stat(const Path& path) const override { return fs_.stat(path); }
  Result<std::vector<DirEntry>> list(const Path& folder) const override { return fs_.list(folder); }
  Result<Volume> volume() const override { return fs_.volume(); }
  Result<void> still_there() const override { return fs_.still_there(); }
  Result<std::unique_ptr<ReadFile>> open(const Path& path, Cache cache) const override {
    return std::make_unique<SlowFile>(TRY(fs_.open(path, cache)), rate_, free_);
  }

 private:
  const ReadFs& fs_;
  const double rate_;
  mutable SlowFile::Moment free_{};
};

struct Slow {
  double whole = 0;         // s, of the visit
  double reading_once = 0;  // s, of the card alone at its rate
};

Slow from_slow_card(Stage& stage, double mb_per_second) {
  stage.clear();
  const SystemClock clock;
  Plan plan;
  plan.title = "Saltmarsh Radio";
  for (const auto& [name, path] : {std::pair("one", stage.one), std::pair("two", stage.two)}) {
    PlannedDestination each;
    each.name = name;
    each.path = path;
    each.allow_same_disk = true;
    plan.destinations.push_back(each);
  }
  const auto catalogue = Catalogue::open(stage.shoot / "catalogue.sqlite");
  const auto real = PosixFs::open_at(stage.card);
  must(catalogue && real, "can't open the card or the catalogue");
  const SlowFs card(**real, mb_per_second * 1e6);
  auto destinations = open_destinations(plan.destinations);
  Slow slow;
  slow.whole = seconds_of([&] {
    const auto report =
        Pipeline(**catalogue, plan, clock).ingest({stage.card, card, *card.volume()}, destinations, {}, {}, {});
    must(report && report->destinations[0].state == IngestReport::Destination::State::verified &&
             report->destinations[1].state == IngestReport::Destination::State::verified,
         "the slow card was not verified at both");
    slow.reading_once = static_cast<double>(report->bytes) / (mb_per_second * 1e6);
  });
  return slow;
}

// ---- The tables ----

std::string spread(std::vector<double> values, const char* unit) {
  std::sort(values.begin(), values.end());
  return fmt::format("{:8.2f} {:8.2f} {:8.2f} {}", values.front(), values[values.size() / 2], values.back(), unit);
}

void row(const std::string& name, const std::vector<double>& values, const char* unit) {
  std::cout << fmt::format("{:<44}", name) << spread(values, unit) << std::endl;
}

std::vector<double> ratios(const std::vector<double>& of, const std::vector<double>& to) {
  std::vector<double> all;
  for (std::size_t i = 0; i < of.size(); ++i) all.push_back(of[i] / to[i]);
  return all;
}

void large(Stage& stage, int rounds) {
  std::vector<double> ours, hand, least, memory;
  for (int round = 0; round < rounds; ++round) {  // in turn: a busy minute of the machine meets all of them
    const auto mine = by_program(stage);
    ours.push_back(mine.seconds);
    memory.push_back(static_cast<double>(mine.peak_kib) / 1024);
    hand.push_back(by_hand(stage));
    least.push_back(floor_of(stage));
  }
  row("everytake offload", ours, "s");
  row("cp, cp, sync, caches dropped, xxhsum of all", hand, "s");
  row("plain direct reads and writes", least, "s");
  row("by hand ÷ ours", ratios(hand, ours), "");
  row("ours ÷ plain", ratios(ours, least), "");
  row("memory of ours at its peak", memory, "MiB");
}

void slow(Stage& stage, int rounds) {
  for (const double rate : {90.0, 250.0}) {
    std::vector<double> ratio;
    for (int round = 0; round < rounds; ++round) {
      const auto [whole, once] = from_slow_card(stage, rate);
      ratio.push_back(whole / once);
    }
    row(fmt::format("verified twice ÷ reading once, at {:.0f} MB/s", rate), ratio, "");
  }
}

void small(Stage& stage, int rounds) {
  std::vector<double> ours, synced;
  for (int round = 0; round < rounds; ++round) {
    ours.push_back(by_program(stage, true).seconds);
    synced.push_back(one_sync_a_file(stage));
  }
  row("everytake offload", ours, "s");
  row("as careful, with a sync a file and folder", synced, "s");
  row("one sync a file ÷ ours", ratios(synced, ours), "");
}

// The verdict of a card that was just offloaded, everything it asks of the card and the disks included.
void safe(Stage& stage, int rounds) {
  by_program(stage);
  const auto ask = fmt::format("{}/everytake --quiet --json --shoot '{}' safe '{}' >/dev/null", EVERYTAKE_BINARY_DIR,
                               stage.shoot.string(), stage.card.string());
  std::vector<double> took;
  for (int round = 0; round < rounds; ++round)
    took.push_back(seconds_of([&] {
      const int status = std::system(ask.c_str());  // both folders are on one disk here: the answer is no
      must(WIFEXITED(status) && WEXITSTATUS(status) == 1, "everytake safe failed");
    }));
  row("everytake safe", took, "s");
}

void hashing() {
  std::vector<std::byte> block(64 * kMiB, std::byte{7});
  std::vector<double> share;
  for (int round = 0; round < 5; ++round) {
    Hasher hasher;
    const double took = seconds_of([&] {
      for (int i = 0; i < 8; ++i) hasher.update(block);
    });
    share.push_back(500e6 * took / static_cast<double>(8 * block.size()) * 100);
  }
  row("one core, hashing 500 MB/s", share, "%");
}

}  // namespace

int offload(std::span<const std::string> words) {
  Options options;
  for (std::size_t i = 0; i < words.size(); ++i) {
    const bool valued = i + 1 < words.size();
    if (words[i] == "--on" && valued)
      options.on = words[++i];
    else if (words[i] == "--card-on" && valued)
      options.card_on = words[++i];
    else if (words[i] == "--mib" && valued)
      options.card_mib = std::stoull(words[++i]);
    else if (words[i] == "--slow-mib" && valued)
      options.slow_mib = std::stoull(words[++i]);
    else if (words[i] == "--rounds" && valued)
      options.rounds = std::stoi(words[++i]);
    else if (words[i] == "--only" && valued)
      options.only = words[++i];
    else {
      std::cerr << "usage: bench offload [--on FOLDER] [--card-on FOLDER] [--mib N] [--slow-mib N] [--rounds N]\n"
                   "                     [--only large|slow|small|safe|hashing]\n";
      return 2;
    }
  }
  must(::geteuid() == 0, "dropping caches needs root");
  const test::TempDir dir(options.on);
  Stage stage{dir / "card", dir.path()};
  std::cout << fmt::format("{:<44}{:>8} {:>8} {:>8}\n", "", "least", "median", "most");
  if (options.wants("large")) {
    large_card(stage.card, options.card_mib);
    std::cout << fmt::format("A card of {} MiB to two folders of one disk\n", options.card_mib);
    large(stage, options.rounds);
  }
  if (options.wants("slow")) {
    // A card is a device of its own: in memory, its reading costs the disk nothing.
    const test::TempDir memory(options.card_on);
    auto slow_stage = stage;
    slow_stage.card = memory / "card";
    large_card(slow_stage.card, options.slow_mib);
    std::cout << fmt::format("A card of {} MiB, in memory, behind a slow reader\n", options.slow_mib);
    slow(slow_stage, options.rounds);
  }
  if (options.wants("small")) {
    fs::remove_all(stage.card);
    std::cout << "20 000 files of 20 kB\n";
    small_card(stage.card);
    small(stage, options.rounds);
  }
  if (options.wants("safe")) {
    fs::remove_all(stage.card);
    std::cout << "A card of 1000 files, 1.6 GB\n";
    day_card(stage.card);
    safe(stage, options.rounds);
  }
  if (options.wants("hashing")) hashing();
  return 0;
}

}  // namespace everytake::bench
