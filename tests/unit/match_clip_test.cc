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

// ---- Several at once ----

// R001: C0001, C0002, C0009, C0010, C0011 and a take by another name; R002: C0001 to C0003.
const NamedClip kDay[] = {
    {ClipId{1}, "R001", "C0001", "CLIP/C0001.MP4"}, {ClipId{2}, "R001", "C0002", "CLIP/C0002.MP4"},
    {ClipId{3}, "R001", "C0009", "CLIP/C0009.MP4"}, {ClipId{4}, "R001", "C0010", "CLIP/C0010.MP4"},
    {ClipId{5}, "R001", "C0011", "CLIP/C0011.MP4"}, {ClipId{6}, "R001", "TAKE-2", "CLIP/TAKE-2.MP4"},
    {ClipId{7}, "R002", "C0001", "CLIP/C0001.MP4"}, {ClipId{8}, "R002", "C0002", "CLIP/C0002.MP4"},
    {ClipId{9}, "R002", "C0003", "CLIP/C0003.MP4"}, {ClipId{10}, "R003", "C9", "C9.MP4"},
    {ClipId{11}, "R003", "C10", "C10.MP4"},         {ClipId{12}, "R003", "C100", "C100.MP4"},
};

std::vector<std::int64_t> ids(std::string_view text) {
  std::vector<std::int64_t> all;
  if (const auto found = match_clips(text, kDay))
    for (const auto id : *found) all.push_back(id.value);
  return all;
}

std::string error(std::string_view text) {
  const auto found = match_clips(text, kDay);
  return found ? "" : found.error().what;
}

using Ids = std::vector<std::int64_t>;

TEST(MatchClips, TakesARangeOfOneRollByNames) {
  EXPECT_EQ(ids("C0009-C0011"), (Ids{3, 4, 5}));
  EXPECT_EQ(ids("R001/C0002-C0010"), (Ids{2, 3, 4}));
  EXPECT_EQ(ids("R002/C0001-C0003"), (Ids{7, 8, 9}));
  EXPECT_EQ(ids("R002/C0001-R002/C0002"), (Ids{7, 8}));
  EXPECT_EQ(ids("c0009.mp4-c0010.mp4"), (Ids{3, 4}));
  EXPECT_EQ(ids("C9-C10"), (Ids{10, 11}));  // by the number: C100 does not lie between
  EXPECT_EQ(ids("C0003-C0003"), (Ids{9}));
}

TEST(MatchClips, TakesAWildcardOverEachName) {
  EXPECT_EQ(ids("C001?"), (Ids{4, 5}));
  EXPECT_EQ(ids("R002/*"), (Ids{7, 8, 9}));
  EXPECT_EQ(ids("take*"), (Ids{6}));
  EXPECT_EQ(ids("C0001*"), (Ids{1, 7}));
  EXPECT_EQ(error("X*"), "no clip is named like \"X*\"");
}

TEST(MatchClips, TakesANameWithADashForWhatItIs) {
  EXPECT_EQ(ids("TAKE-2"), (Ids{6}));
  EXPECT_EQ(ids("C0009-TAKE-2"), (Ids{3, 4, 5, 6}));
}

TEST(MatchClips, SaysWhyARangeIsNone) {
  EXPECT_EQ(error("C0011-C0009"), "\"C0011-C0009\": C0011 comes after C0009");
  EXPECT_EQ(error("C0009-R002/C0003"),
            "\"C0009-R002/C0003\": R001/C0009 and R002/C0003 are of two rolls: write a range for each");
  EXPECT_EQ(error("C0001-C0009"),
            "\"C0001-C0009\": write its roll before it: \"C0001\" could be any of 2 clips: R001/C0001 (id 1), "
            "R002/C0001 (id 7)");
  EXPECT_EQ(error("C0009-C0077"), "there is no clip \"C0009-C0077\"");
  EXPECT_EQ(error("C0001"), "\"C0001\" could be any of 2 clips: R001/C0001 (id 1), R002/C0001 (id 7)");
  EXPECT_EQ(error("-"), "there is no clip \"-\": did you mean C9?");
  EXPECT_EQ(error("C0009-"), "there is no clip \"C0009-\": did you mean C0009?");
}

}  // namespace
}  // namespace everytake
