#include "media/metadata/maker_notes.h"

#include <gtest/gtest.h>

#include <functional>
#include <limits>
#include <tuple>

#include "support/maker_boxes.h"
#include "support/media_boxes.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using namespace test;

const Rational kFilm(24000, 1001), kFast(120000, 1001);

TEST(MakerNotes, TellTheColourModeOfMessages) {
  const std::pair<int, const char*> modes[] = {
      {1, "d-cinelike"}, {2, "d-log"}, {9, "hlg"}, {19, "d-log-m"}, {22, "d-log2"}};
  for (const auto& [mode, gamma] : modes)
    EXPECT_EQ(dji_metadata(djmd_sample({.colour_mode = mode}), kFilm).gamma, gamma);
  for (const auto& mode : {std::optional<int>(), std::optional(0), std::optional(10)})  // nothing, the default, art
    EXPECT_EQ(dji_metadata(djmd_sample({.colour_mode = mode}), kFilm).gamma, std::nullopt);
}

TEST(MakerNotes, BelieveMessagesOfKnownSchemasOnly) {
  struct Known {
    const char* schema;
    std::vector<int> colour_at;
    int rate_at;
  };
  const Known schemas[] = {{"dvtm_oq101.proto", {2, 4}, 11}, {"dvtm_eagle4_wa530.proto", {2, 2, 4}, 9},
                           {"dvtm_wm169.proto", {}, 11},     {"dvtm_AVATA360.proto", {}, 9},
                           {"dvtm_ac203.proto", {}, 0},      {"dvtm_ac204.proto", {}, 0},
                           {"dvtm_ac206.proto", {}, 0}};
  const std::vector<int> places[] = {{2, 4}, {2, 2, 4}};
  for (const auto& known : schemas)
    for (const auto& colour_at : places)
      for (const int rate_at : {9, 11}) {
        SCOPED_TRACE(known.schema);
        const auto claim = dji_metadata(djmd_sample({known.schema, 2, colour_at, 23.98F, rate_at, false}), kFilm);
        EXPECT_EQ(claim.camera, "L-1");
        EXPECT_EQ(claim.iso, 800);
        EXPECT_EQ(claim.shutter, Rational(1, 50));
        EXPECT_EQ(claim.white_balance, 5600);
        EXPECT_EQ(claim.gamma.has_value(), colour_at == known.colour_at);
        EXPECT_EQ(claim.capture_rate.has_value(), rate_at == known.rate_at);
      }
  const auto unknown = dji_metadata(djmd_sample({.schema = "dvtm_future.proto", .colour_mode = 2}), kFilm);
  EXPECT_FALSE(unknown.gamma || unknown.iso || unknown.camera || unknown.shutter);
}

TEST(MakerNotes, TakeASensorsRateForAMultipleOfTheFiles) {
  const auto rate = [](float measured, std::optional<Rational> of_file, bool slow_motion) {
    return dji_metadata(djmd_sample({.sensor_rate = measured, .slow_motion = slow_motion}), of_file).capture_rate;
  };
  const Rational sixty(60000, 1001), thirty(30000, 1001);
  EXPECT_EQ(rate(59.969F, sixty, false), sixty);
  EXPECT_EQ(rate(119.9F, thirty, true), Rational(120000, 1001));
  EXPECT_EQ(rate(119.9F, thirty, false), std::nullopt);  // read four times for each picture, perhaps
  EXPECT_EQ(rate(59.97F, kFilm, true), std::nullopt);    // 2.5 times: no rate of a camera's
  for (const float none : {0.0F, -30.0F, 1e30F, std::numeric_limits<float>::quiet_NaN()})
    EXPECT_EQ(rate(none, kFilm, true), std::nullopt);
  EXPECT_EQ(rate(59.969F, std::nullopt, false), std::nullopt);
}

TEST(MakerNotes, TellWhichLogAndSpace) {
  EXPECT_EQ(canon_metadata(canon_box(2, 3)).gamma, "c-log3");
  EXPECT_EQ(canon_metadata(canon_box(2, 3)).gamut, "cinema-gamut");
  EXPECT_EQ(canon_metadata(canon_box(1, 2)).gamma, "c-log2");
  EXPECT_EQ(canon_metadata(canon_box(0, 1)).gamut, "rec709");
  EXPECT_EQ(canon_metadata(canon_box(0, 0)).gamma, std::nullopt);  // no log: which curve then is not said
  const std::pair<int, const char*> modes[] = {{0x10, "f-log"}, {0x20, "hlg"}, {0x30, "f-log2"}};
  for (const auto& [mode, gamma] : modes) EXPECT_EQ(fujifilm_metadata(fujifilm_box(mode)).gamma, gamma);
  EXPECT_EQ(panasonic_metadata(panasonic_box(17)).gamma, "v-log");
  EXPECT_EQ(panasonic_metadata(panasonic_box(1)).gamma, std::nullopt);
  EXPECT_EQ(gopro_metadata(gopro_box("FLAT", kFast)).gamma, "flat");
  EXPECT_EQ(gopro_metadata(gopro_box("GOPRO", kFast)).gamma, std::nullopt);
}

TEST(MakerNotes, TellTheExposure) {
  for (const auto& claim : {canon_metadata(canon_box(2, 3)), fujifilm_metadata(fujifilm_box(0x10)),
                            panasonic_metadata(panasonic_box(17))}) {
    EXPECT_EQ(claim.shutter, Rational(1, 50));
    EXPECT_EQ(claim.iso, 800);
  }
  const auto records = nikon_metadata(nikon_box(kFilm, kFilm), kFilm);
  EXPECT_EQ(records.shutter, Rational(1, 50));
  EXPECT_EQ(records.lens, "35mm F2");
  const auto exif = tiff("Panasonic", {short_field(0x8827, 65535), text_field(0xA434, "35mm F2 ")},
                         [](std::uint32_t) { return std::string("Panasonic"); });
  const auto claim = panasonic_metadata(std::string("Exif\0\0", 6) + exif);
  EXPECT_EQ(claim.iso, std::nullopt);  // Exif 2.32: that, or more
  EXPECT_EQ(claim.lens, "35mm F2");
}

TEST(MakerNotes, TellTheCaptureRate) {
  EXPECT_EQ(gopro_metadata(gopro_box("FLAT", kFast)).capture_rate, kFast);
  const auto steps = gopro_box("FLAT", kFilm) + "RATEc" + big(1, 1) + big(8, 2) + std::string("0_5SEC\0\0", 8);
  EXPECT_EQ(gopro_metadata(steps).capture_rate, std::nullopt);
  // Of two rates the one that is not the file's.
  EXPECT_EQ(nikon_metadata(nikon_box(kFilm, kFast), kFilm).capture_rate, kFast);
  EXPECT_EQ(nikon_metadata(nikon_box(kFast, kFilm), kFilm).capture_rate, kFast);
  EXPECT_EQ(nikon_metadata(nikon_box(kFilm, kFilm), kFilm).capture_rate, kFilm);
  EXPECT_EQ(nikon_metadata(nikon_box(kFast, kFast), kFilm).capture_rate, std::nullopt);
  EXPECT_EQ(nikon_metadata(nikon_box(kFilm, kFast), std::nullopt).capture_rate, std::nullopt);
  EXPECT_EQ(nikon_metadata(nikon_box(kFilm, kFast), kFilm).camera, "L-1");
}

// Whatever the bytes: a curve is one of the maker's, a number makes sense.
void expect_sense(const SourceMetadata& claim, const std::string& maker) {
  if (claim.gamma) {
    EXPECT_NE((" " + maker + " ").find(" " + *claim.gamma + " "), std::string::npos) << *claim.gamma;
  }
  EXPECT_GT(claim.iso.value_or(1), 0);
  EXPECT_GT(claim.shutter.value_or(Rational(1, 1)).num(), 0);
  EXPECT_GT(claim.capture_rate.value_or(Rational(1, 1)).num(), 0);
}

TEST(MakerNotes, SurviveEveryCutAndFlip) {
  const auto nikon = [](std::string_view bytes) { return nikon_metadata(bytes, kFilm); };
  const auto dji = [](std::string_view bytes) { return dji_metadata(bytes, kFilm); };
  const std::tuple<std::string, const char*, std::function<SourceMetadata(std::string_view)>> makers[] = {
      {canon_box(2, 3), "c-log c-log2 c-log3", canon_metadata},
      {fujifilm_box(0x10), "f-log f-log2 hlg", fujifilm_metadata},
      {panasonic_box(17), "v-log", panasonic_metadata},
      {nikon_box(kFilm, kFast), "", nikon},
      {gopro_box("FLAT", kFast), "flat", gopro_metadata},
      {djmd_sample({.colour_mode = 2, .sensor_rate = 119.93F, .slow_motion = true}),
       "d-cinelike d-log hlg d-log-m d-log2", dji}};
  for (const auto& [whole, curves, read] : makers) {
    for (std::size_t length = 0; length < whole.size(); ++length)
      expect_sense(read(std::string_view(whole).substr(0, length)), curves);
    for (std::size_t at = 0; at < whole.size(); ++at)
      for (const char byte : {'\0', '\xFF'}) {
        std::string bytes = whole;
        bytes[at] = byte;
        expect_sense(read(bytes), curves);
      }
  }
}

}  // namespace
}  // namespace everytake
