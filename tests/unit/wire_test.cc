#include "base/wire.h"

#include <gtest/gtest.h>

#include <limits>
#include <random>

#include "examiner/credible.h"
#include "examiner/examination.h"
#include "support/clip_facts.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using namespace std::chrono_literals;

using test::is_listed_whole;  // not of what holds a path, whose members can't be counted
static_assert(is_listed_whole<Error> && is_listed_whole<Limits>);
static_assert(is_listed_whole<ClipFiles> && is_listed_whole<CameraDefault>);

Examination every_question() {
  return {.wanted = Examination::Wanted::strip,
          .limits = {1ULL << 40, 10},
          .folder = "/media/desk/R001",
          .files = {.name = "C\xff", .parts = {{"C\xff.MP4", FileRole::video}, {"C.XML", FileRole::thumbnail}}},
          .cameras = {{"L-1", "s-log3"}},
          .rate_hz = 8000,
          .known = test::every_fact()};
}

TEST(Wire, GivesBackEveryFact) {
  for (const auto& facts : {test::every_fact(), ClipFacts{}}) {
    const auto again = unpack<ClipFacts>(pack(facts));
    ASSERT_TRUE(again) << again.error().what;
    test::expect_same(*again, facts);
  }
}

TEST(Wire, GivesBackWhatIsAskedAndAnswered) {
  const auto question = every_question();
  const auto asked = unpack<Examination>(pack(question));
  ASSERT_TRUE(asked);
  EXPECT_EQ(asked->wanted, question.wanted);
  EXPECT_EQ(asked->limits.memory_bytes, question.limits.memory_bytes);
  EXPECT_EQ(asked->limits.cpu_seconds, question.limits.cpu_seconds);
  EXPECT_EQ(asked->folder, question.folder);
  EXPECT_EQ(asked->files.name, question.files.name);
  ASSERT_EQ(asked->files.parts.size(), 2U);
  EXPECT_EQ(asked->files.parts[0].path, question.files.parts[0].path);
  EXPECT_EQ(asked->files.parts[1].role, FileRole::thumbnail);
  ASSERT_EQ(asked->cameras.size(), 1U);
  EXPECT_EQ(asked->cameras[0].gamma, "s-log3");
  EXPECT_EQ(asked->rate_hz, 8000);
  test::expect_same(asked->known, question.known);

  const auto error = unpack<Error>(pack(Error{Code::cancelled, "stopped", -541478725}));
  ASSERT_TRUE(error);
  EXPECT_EQ(error->code, Code::cancelled);
  EXPECT_EQ(error->what, "stopped");
  EXPECT_EQ(error->number, -541478725);

  const auto range = unpack<FileRange>(pack(FileRange{UINT64_MAX, 1 << 20, "a/b"}));
  ASSERT_TRUE(range);
  EXPECT_EQ(range->offset, UINT64_MAX);
  EXPECT_EQ(range->count, 1U << 20);
  EXPECT_EQ(range->path, "a/b");

  FileStat stat;
  stat.type = FileType::symlink;
  stat.size = UINT64_MAX;
  stat.mtime = FileTime(-1ns);
  const auto seen = unpack<FileStat>(pack(stat));
  ASSERT_TRUE(seen);
  EXPECT_EQ(seen->type, FileType::symlink);
  EXPECT_EQ(seen->size, UINT64_MAX);
  EXPECT_EQ(seen->mtime, FileTime(-1ns));

  EXPECT_EQ(unpack<Micros>(pack(Micros::min())), Micros::min());
  EXPECT_EQ(unpack<int>(pack(std::numeric_limits<int>::min())), std::numeric_limits<int>::min());
}

// Of every value, for each kind of message.
template <class T>
void expect_whole_or_nothing(const T& value) {
  const auto bytes = pack(value);
  ASSERT_TRUE(unpack<T>(bytes));
  for (std::size_t size = 0; size < bytes.size(); ++size) {
    const auto cut = unpack<T>(std::string_view(bytes).substr(0, size));
    ASSERT_FALSE(cut) << size;
    EXPECT_EQ(cut.error().code, Code::corrupt);
  }
  EXPECT_FALSE(unpack<T>(bytes + '\0'));
}

TEST(Wire, RefusesWhatIsCutAnywhereOrGoesOn) {
  expect_whole_or_nothing(test::every_fact());
  expect_whole_or_nothing(every_question());
  expect_whole_or_nothing(Error{Code::io, "it can't be read", 5});
  expect_whole_or_nothing(FileRange{1, 2, "a"});
  expect_whole_or_nothing(FileStat{.type = FileType::regular, .size = 1, .mtime = FileTime(1ns)});
  expect_whole_or_nothing(SoundLevels{960'000, -9.5, 0.25});
  expect_whole_or_nothing(FramesSeen{5, 1});
  expect_whole_or_nothing(Micros(70'000));
}

TEST(Wire, RefusesAFieldThatIsMissingAddedOrOfAnotherKind) {
  const auto good = from_cbor(pack(test::every_fact()));
  ASSERT_EQ(good.size(), std::tuple_size_v<std::remove_const_t<decltype(kFields<ClipFacts>)>>);
  for (const auto& [name, value] : good.items()) {
    auto lacking = good;
    lacking.erase(name);
    EXPECT_FALSE(unpack<ClipFacts>(to_cbor(lacking))) << name;
    lacking["another"] = value;
    EXPECT_FALSE(unpack<ClipFacts>(to_cbor(lacking))) << name;
    auto other = good;
    other[name] = Json::object();
    EXPECT_FALSE(unpack<ClipFacts>(to_cbor(other))) << name;
    other[name] = Json::binary({1, 2});
    EXPECT_FALSE(unpack<ClipFacts>(to_cbor(other))) << name;
  }
  auto more = good;
  more["another"] = 1;
  EXPECT_FALSE(unpack<ClipFacts>(to_cbor(more)));
}

TEST(Wire, RefusesWhatItsTypeCanNotHold) {
  const std::pair<const char*, Json> cases[] = {
      {"duration_us", UINT64_MAX},
      {"duration_us", "long"},
      {"duration_us", 1.5},
      {"frame_rate", Json::array({24, 0})},
      {"frame_rate", Json::array({-24, 1})},
      {"frame_rate", Json::array({24})},
      {"frame_rate", Json::array({1LL << 31, 1})},
      {"width", 1LL << 31},
      {"width", -(1LL << 31) - 1},
      {"gamma", std::string(kMostPackedText + 1, 'x')},
      {"gamma", 3},
      {"audio", 1},
      {"levels", Json::array({1, 2.0, 3.0})},
      {"problems", nullptr},
      {"problems", Json::array({Json::array({"code"})})},
      {"origin", Json::array({1})},
      {"origin", Json::array({Json::array({"gamma"})})},
  };
  for (const auto& [name, value] : cases) {
    auto json = from_cbor(pack(test::every_fact()));
    ASSERT_TRUE(json.contains(name)) << name;
    json[name] = value;
    const auto facts = unpack<ClipFacts>(to_cbor(json));
    ASSERT_FALSE(facts) << name << " " << value;
    EXPECT_EQ(facts.error().code, Code::corrupt);
  }
  for (const int code : {-1, static_cast<int>(Code::cancelled) + 1})
    EXPECT_FALSE(unpack<Error>(to_cbor({{"code", code}, {"what", ""}, {"number", 0}}))) << code;
  EXPECT_FALSE(unpack<std::vector<std::string>>(pack(std::vector(kMostPacked / 8, std::string("1234567")))));
}

TEST(Wire, TakesAnyBytesWithoutHarm) {
  const auto good = pack(test::every_fact());
  std::mt19937 random(7);
  int taken = 0;
  for (int i = 0; i < 20'000; ++i) {
    auto bytes = good;
    for (int changes = 1 + static_cast<int>(random() % 4); changes > 0; --changes)
      bytes[random() % bytes.size()] = static_cast<char>(random());
    bytes.resize(random() % 8 == 0 ? random() % bytes.size() : bytes.size());
    const auto facts = unpack<ClipFacts>(bytes);
    if (!facts) continue;
    ++taken;
    EXPECT_EQ(pack(*unpack<ClipFacts>(pack(*facts))), pack(*facts));  // what was taken can be handed on
  }
  EXPECT_GT(taken, 100);  // changed words and numbers are as good as others
}

}  // namespace
}  // namespace everytake
