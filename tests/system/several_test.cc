// Several programs, several catalogues, several names of one card: the real program on real files.
#include <gtest/gtest.h>

#include <boost/filesystem.hpp>
#include <thread>

#include "support/rooms.h"
#include "support/shoot_bench.h"

namespace everytake {
namespace {

using test::quoted;
using test::shell;

class Several : public test::ShootBench {
 protected:
  Several() {
    put("PRIVATE/M4ROOT/CLIP/C0001.MP4", 3'000'000);
    put("PRIVATE/M4ROOT/CLIP/C0002.MP4", 200'000);
  }
  Path home(const Path& destination) const { return destination / "saltmarsh-radio"; }
  test::Ran in(const Path& shoot, const std::string& arguments) const {
    return shell(program() + " --shoot " + quoted(shoot) + " " + arguments);
  }
  std::string sums() const {
    return shell("find " + quoted(desk_) + " " + quoted(shuttle_.path()) +
                 " -type f | sort | xargs -d '\\n' xxhsum -H2")
        .out;
  }
};

TEST_F(Several, CardsAtOnceAllComeToTheirEndOnAFreshShoot) {
  constexpr int kCards = 4;
  for (int round = 0; round < 4; ++round) {
    std::vector<std::jthread> running;
    std::vector<test::Ran> ran(kCards);
    for (int i = 0; i < kCards; ++i) {
      const auto card = dir_ / ("card" + std::to_string(i));
      shell("mkdir -p " + quoted(card));
      test::put_file(card / ("C" + std::to_string(i) + ".MP4"), std::string(400'000, static_cast<char>('a' + i)));
      running.emplace_back([&, i, card] { ran[i] = everytake("offload --no-study " + quoted(card)); });
    }
    running.clear();
    for (const auto& each : ran) EXPECT_EQ(each.exit, 0) << each.out << each.err;
    EXPECT_EQ(json("rolls")["rolls"].size(), kCards);
    EXPECT_EQ(shell("find " + quoted(desk_) + " -name '*.everytake-part'").out, "");
    shell("rm -rf " + quoted(shoot_ / "catalogue.sqlite") + " " + quoted(home(desk_)) + " " +
          quoted(home(shuttle_.path())));
  }
}

TEST_F(Several, ANewLaptopStopsBeforeItWritesAndGoesOnAfterRebuild) {
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  ASSERT_EQ(everytake("tag C0001 --member Ada").exit, 0);
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  const auto before = sums();
  const auto laptop = dir_ / "laptop";
  shell("mkdir " + quoted(laptop) + " && cp " + quoted(shoot_ / "shoot.toml") + " " + quoted(laptop));
  const auto refused = in(laptop, "offload --no-study " + quoted(card_));
  EXPECT_EQ(refused.exit, 3) << refused.out << refused.err;
  EXPECT_NE(refused.err.find("rebuild"), std::string::npos) << refused.err;
  EXPECT_EQ(sums(), before);
  const auto again = dir_ / "again";
  const auto rebuilt = in(again, "rebuild " + quoted(desk_));
  EXPECT_EQ(rebuilt.exit, 0) << rebuilt.out << rebuilt.err;
  EXPECT_EQ(in(again, "verify").exit, 0);
  EXPECT_EQ(in(again, "offload --no-study " + quoted(card_)).exit, 0);
  EXPECT_EQ(in(again, "safe " + quoted(card_)).exit, 0);
  EXPECT_NE(in(again, "show C0001").out.find("Ada"), std::string::npos);
  // The old laptop turns up again: it is told, and writes nothing.
  const auto now = sums();
  EXPECT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 3);
  EXPECT_EQ(sums(), now);
}

TEST_F(Several, AnotherShootOfTheSameNameGetsAFolderOfItsOwn) {
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  auto text = plan();
  text.replace(text.find("Tollhouse Four"), 14, "The Dunlin Five");
  const auto other = dir_ / "other", card = dir_ / "another card";
  shell("mkdir " + quoted(other) + " " + quoted(card));
  test::put_file(other / "shoot.toml", text);
  test::put_file(card / "C0001.MP4", std::string(300'000, 'o'));
  const auto before = shell("cat " + quoted(home(desk_) / "R001.xxh128")).out;
  const auto ran = in(other, "offload --no-study " + quoted(card));
  EXPECT_EQ(ran.exit, 0) << ran.out << ran.err;
  EXPECT_NE(ran.err.find("saltmarsh-radio-2"), std::string::npos) << ran.err;
  EXPECT_EQ(in(other, "verify --repair").exit, 0);
  EXPECT_EQ(in(other, "safe " + quoted(card)).exit, 0);
  EXPECT_EQ(everytake("safe " + quoted(card_)).exit, 0);
  EXPECT_EQ(shell("cat " + quoted(home(desk_) / "R001.xxh128")).out, before);
  EXPECT_TRUE(boost::filesystem::exists(desk_ / "saltmarsh-radio-2/R001/C0001.MP4"));
}

TEST_F(Several, NamesOfOneCardBringItsClipsOnce) {
  ASSERT_EQ(everytake("offload --no-study " + quoted(card_)).exit, 0);
  const auto report = json("offload --no-study " + quoted(card_ / "PRIVATE"));
  EXPECT_EQ(report["roll"], "R001");
  EXPECT_EQ(report["already"]["R001"], 2);
  EXPECT_EQ(json("find")["clips"].size(), 2U);
  EXPECT_EQ(everytake("safe " + quoted(card_ / "PRIVATE")).exit, 0);
  EXPECT_EQ(everytake("safe " + quoted(card_)).exit, 0);
  EXPECT_FALSE(boost::filesystem::exists(home(desk_) / "R002"));
}

TEST_F(Several, ADestinationInTheCardsOwnTreeIsRefused) {
  shell("mkdir " + quoted(card_ / "backup"));
  const auto ran = everytake("offload --no-study " + quoted(card_ / "PRIVATE") +
                             " --to desk=" + quoted(card_ / "backup") + " --to shuttle=" + quoted(shuttle_.path()));
  EXPECT_EQ(ran.exit, 3) << ran.err;
  EXPECT_EQ(shell("ls -A " + quoted(card_ / "backup")).out, "");
}

}  // namespace
}  // namespace everytake
