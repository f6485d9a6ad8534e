// What a plan may call a gamma: all that clips can be found to have.
#include "gamma_names.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "base/text.h"
#include "media/gamma.h"
#include "media/metadata/maker_notes.h"
#include "media/metadata/timed_metadata.h"
#include "support/maker_boxes.h"
#include "support/media_boxes.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using namespace test;
using testing::Contains;

TEST(GammaNames, AreSortedOnceEachAndInLowerCase) {
  const auto& names = gamma_names();
  EXPECT_TRUE(std::is_sorted(names.begin(), names.end()));
  EXPECT_EQ(std::adjacent_find(names.begin(), names.end()), names.end());
  for (const auto& name : names) EXPECT_EQ(name, lower_case(name));
}

TEST(GammaNames, HoldEveryPublishedCurve) {
  ASSERT_GT(curves().size(), 15U);
  for (const auto& curve : curves()) EXPECT_THAT(gamma_names(), Contains(curve.name));
}

TEST(GammaNames, HoldWhatMakersNotesAndTimedMetadataTell) {
  std::vector<std::optional<std::string>> told;
  for (int mode = 0; mode < 64; ++mode) {
    told.push_back(dji_metadata(djmd_sample({.colour_mode = mode}), Rational(24, 1)).gamma);
    told.push_back(fujifilm_metadata(fujifilm_box(mode)).gamma);
    told.push_back(panasonic_metadata(panasonic_box(mode)).gamma);
    if (mode < 8) told.push_back(canon_metadata(canon_box(1, mode)).gamma);
  }
  told.push_back(gopro_metadata(gopro_box("FLAT", Rational(24, 1))).gamma);
  for (const std::uint32_t family : {0x01010500U, 0x01010600U, 0x01010700U, 0x010B0000U, 0x01020000U, 0x01080000U})
    for (std::uint32_t last = 0; last < 16; ++last)
      told.push_back(read_timed_metadata(timed_sample({{0x3210, label(family + last)}})).gamma);
  const auto count = std::count_if(told.begin(), told.end(), [](const auto& gamma) { return gamma.has_value(); });
  EXPECT_GT(count, 20);
  for (const auto& gamma : told)
    if (gamma) {
      EXPECT_THAT(gamma_names(), Contains(*gamma));
    }
}

// What cameras write into their notes as text: "CaptureGammaEquation" of professionalDisc files, "CaptureGamma" of clip
// metadata.
TEST(GammaNames, HoldWhatCamerasWriteAsText) {
  for (const char* name :
       {"s-log",        "s-log2",      "s-log3",     "s-log3-cine", "s-cinetone",  "rec709",      "rec709-800",
        "rec709-xvycc", "rec2100-hlg", "rec2020",    "nxcam-std",   "nxcam-still", "nxcam-cine1", "nxcam-cine2",
        "scene-linear", "hg3250g36",   "hg4600g30",  "hg8009g40",   "sd-std-x35",  "smpte240m",   "ex-cine1",
        "v-log",        "v-logl",      "cinelike_d", "cinelike_d2", "cinelike_v",  "natural"})
    EXPECT_THAT(gamma_names(), Contains(name));
}

}  // namespace
}  // namespace everytake
