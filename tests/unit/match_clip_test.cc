#include "catalogue/match_clip.h"
#include "support/rooms.h"

#include <gtest/gtest.h>

namespace everytake {
namespace {

const NamedClip kClips[] = {
    {ClipId{1}, "R001", "C0001", "CLIP/C0001.MP4"}, {ClipId{2}, "R001", "C0002", "CLIP/C0002.MP4"},
    {ClipId{3}, "R002", "C0001", "CLIP/C0001.MP4"}, {ClipId{4}, "R003", "A", "100/A.MOV"},
    {ClipId{5}, "R003", "A", "101/A.MOV"},          {ClipId{6}, "R003", "a", "101/a.mp4"},
    {ClipId{7}, "R003", "2", "101/2.mp4"},          {ClipId{8}, "R003", "B\x1b[31m", "101/B\x1b[31m.mp4"},
};

std::int64_t id(std::string_view text) {
  const auto found = match_clip(text, kClips);
  return found ? found->value : 0;
}

TEST(MatchClip, TakesIdsNamesFileNamesAndPaths) {
  EXPECT_EQ(id("1"), 1);
  EXPECT_EQ(id("C0002"), 2);
  EXPECT_EQ(id("C0002.MP4"), 2);
  EXPECT_EQ(id("R002/C0001"), 3);
  EXPECT_EQ(id("R003/100/A.MOV"), 4);
  EXPECT_EQ(id("101/A.MOV"), 5);
}

TEST(MatchClip, MindsCaseOnlyWhereItDecides) {
  EXPECT_EQ(id("c0002"), 2);
  EXPECT_EQ(id("r002/c0001.mp4"), 3);
  EXPECT_EQ(id("R003/a"), 6);
}

TEST(MatchClip, ListsWhatANameCouldMean) {
  const auto found = match_clip("C0001", kClips);
  ASSERT_FALSE(found);
  EXPECT_EQ(found.error().code, Code::invalid);
  EXPECT_EQ(found.error().what, "\"C0001\" could be any of 2 clips: R001/C0001 (id 1), R002/C0001 (id 3)");
  EXPECT_EQ(match_clip("R003/A", kClips).error().code, Code::invalid);
  EXPECT_EQ(match_clip("2", kClips).error().code, Code::invalid);  // an id, and the name of another
  EXPECT_EQ(id("R003/2"), 7);
}

TEST(MatchClip, NamesTheNearestOfAWrongName) {
  EXPECT_EQ(match_clip("C0003", kClips).error().what, "there is no clip \"C0003\": did you mean C0001?");
  EXPECT_EQ(match_clip("elsewhere", kClips).error().what, "there is no clip \"elsewhere\"");
  EXPECT_EQ(match_clip("B\x1b", std::span(kClips, 1)).error().what, "there is no clip \"B\\x1b\"");
  EXPECT_EQ(match_clip("x", {}).error().what, "there is no clip \"x\" yet: offload a card first");
  EXPECT_EQ(match_clip("", kClips).error().code, Code::not_found);
  EXPECT_EQ(match_clip("00001", kClips).error().code, Code::not_found);
}

}  // namespace
}  // namespace everytake
