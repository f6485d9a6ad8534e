// The program runs out of memory, sees the clock jump, and can't leave the cache: by a library loaded before the C
// library's (support/shim_main.cc).
#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/mman.h>
#include <unistd.h>

#include <boost/filesystem.hpp>
#include <cstdlib>
#include <thread>

#include "support/mount/mounted_shoot.h"
#include "support/rooms.h"
#include "support/sanitized.h"

namespace everytake {
namespace {

using test::quoted;
using test::shell;

class Shimmed : public test::MountedShoot {
 protected:
  test::Ran shimmed(const std::string& settings, const std::string& arguments) const {
    return shell("LD_PRELOAD=" + quoted(Path(EVERYTAKE_SHIM)) + " " + settings + " " + program() + " --quiet --shoot " +
                 quoted(shoot_) + " " + arguments);
  }
  void start_anew() const {
    shell("rm -rf " + quoted(desk_) + "/* " + quoted(shuttle_.path()) + "/* " + quoted(shoot_) + "/catalogue*");
  }
};

class OutOfMemory : public Shimmed {
 protected:
  // Everything in memory: only the program's own behaviour is looked at.
  OutOfMemory() {
    desk_ = memory_ / "desk";
    boost::filesystem::create_directories(desk_);
    auto text = plan();
    text.insert(text.find("[[destination]]\nname = \"shuttle\""), "accept_cached = true\nsame_disk = \"allow\"\n");
    test::put_file(shoot_ / "shoot.toml", text);
  }
};

TEST_F(OutOfMemory, EndsInASentenceOrARightResultAndNeverInACrash) {
  if (test::kSanitized) GTEST_SKIP() << "a sanitizer has its own allocator: nothing was tried";
  const char* said = std::getenv("EVERYTAKE_ALLOCATIONS");
  const int most = said ? std::atoi(said) : 30;
  ASSERT_EQ(shimmed("SHIM_MALLOC_COUNT=" + quoted(dir_ / "count"), offload()).exit, 0);
  const long all = std::stol(test::get_file(dir_ / "count"));
  ASSERT_GT(all, 1000);
  int right = 0, told = 0;
  for (int i = 0; i < most; ++i) {
    const auto settings =
        "SHIM_MALLOC_FAIL=" + std::to_string(1 + i * all / most) + " SHIM_MALLOC_STICKY=" + std::to_string(i % 2);
    SCOPED_TRACE(settings);
    start_anew();
    const auto ran = shimmed(settings, offload());
    // The C library itself gives up where there is no memory for its own book of a thread.
    EXPECT_TRUE(ran.exit < 128 || ran.err.find("Fatal glibc error") != std::string::npos) << ran.exit << ran.err;
    expect_nothing_wrong_at(desk_);
    expect_nothing_wrong_at(shuttle_.path());
    if (ran.exit == 0) {
      ++right;
      EXPECT_TRUE(is_whole(desk_) && is_whole(shuttle_.path()));
    } else {
      ++told;
      EXPECT_FALSE((ran.out + ran.err).empty());
    }
  }
  std::cout << right << " right, " << told << " told, of " << all << " allocations\n";
  start_anew();
  EXPECT_EQ(everytake(offload()).exit, 0);
}

TEST_F(Shimmed, NoVerdictAndNoNameHangsOnTheClock) {
  if (test::kSanitized) GTEST_SKIP() << "a sanitizer wants to be loaded first: nothing was tried";
  // A day back, ten years on, about 1970.
  for (const char* jump : {"-86400", "315360000", "-1750000000"}) {
    const auto settings = std::string("SHIM_CLOCK_AFTER=3 SHIM_CLOCK_JUMP=") + jump;
    SCOPED_TRACE(settings);
    start_anew();
    const auto ran = shimmed(settings, offload());
    EXPECT_EQ(ran.exit, 0) << ran.err;
    EXPECT_TRUE(is_safe());
    EXPECT_EQ(shimmed(settings, "safe " + quoted(card_)).exit, 0);
    // With the clock right again: a file more is a roll more, a file less is no file lost.
    put("PRIVATE/M4ROOT/CLIP/C0009.MP4", 500);
    boost::filesystem::remove(card_ / "PRIVATE/M4ROOT/CLIP/C0003.MP4");
    EXPECT_FALSE(is_safe());
    EXPECT_EQ(everytake(offload()).exit, 0);
    EXPECT_TRUE(is_safe());
    EXPECT_EQ(shell("sqlite3 " + quoted(shoot_ / "catalogue.sqlite") + " 'SELECT name FROM roll ORDER BY id'").out,
              "R001\nR002\n");
    boost::filesystem::remove(card_ / "PRIVATE/M4ROOT/CLIP/C0009.MP4");
    put("PRIVATE/M4ROOT/CLIP/C0003.MP4", 700);
  }
}

// Without direct reading, only an empty cache shows that a read-back came from beneath.
TEST_F(Shimmed, AReadBackFromACacheThatCanNotBeLeftIsNotVerified) {
  if (test::kSanitized) GTEST_SKIP() << "a sanitizer wants to be loaded first: nothing was tried";
  EVERYTAKE_NEEDS_MOUNT(mount_desk({"--no-direct", "--cache=keep"}));
  EXPECT_EQ(shimmed("SHIM_NO_FADVISE=1", offload()).exit, 1);
  EXPECT_FALSE(is_safe());
  EXPECT_EQ(shell("sqlite3 " + quoted(shoot_ / "catalogue.sqlite") +
                  " \"SELECT DISTINCT state, readback FROM copy WHERE destination_id = 1\"")
                .out,
            "copied|cached\n");
  EXPECT_EQ(everytake(offload()).exit, 0);
  EXPECT_TRUE(is_safe());
}

TEST_F(Shimmed, AReadBackOfWhatAnotherProgramHoldsInMemoryIsNotVerified) {
  EVERYTAKE_NEEDS_MOUNT(mount_desk({"--no-direct", "--cache=keep"}));
  mount_->rules("fsync [0-9a-f]*-[0-9]*.everytake-part stall");
  test::Ran ran;
  std::thread running([&] { ran = everytake(offload()); });
  mount_->await_stall();
  const auto part = shell("find " + quoted(desk_) + " -name '*.everytake-part' -size +1M").out;
  const int fd = ::open(part.substr(0, part.find('\n')).c_str(), O_RDONLY | O_CLOEXEC);
  const std::size_t size = 1'000'000;
  void* held = ::mmap(nullptr, size, PROT_READ, MAP_SHARED | MAP_POPULATE, fd, 0);
  ASSERT_NE(held, MAP_FAILED);
  mount_->rules("");
  running.join();
  EXPECT_EQ(ran.exit, 1) << ran.out;
  EXPECT_FALSE(is_safe());
  ::munmap(held, size);
  ::close(fd);
  EXPECT_EQ(everytake(offload()).exit, 0);
  EXPECT_TRUE(is_safe());
}

}  // namespace
}  // namespace everytake
