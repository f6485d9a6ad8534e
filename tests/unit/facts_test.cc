#include "media/facts.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <bit>
#include <functional>
#include <limits>
#include <random>
#include <tuple>

#include "base/text.h"
#include "media/maker_notes.h"
#include "media/timed_metadata.h"
#include "support/fault_fs.h"
#include "support/maker_boxes.h"
#include "support/media_boxes.h"
#include "support/media_card.h"
#include "support/media_movie.h"
#include "support/mem_fs.h"

namespace everytake {
namespace {

using namespace test;

const Rational kFilm(24000, 1001), kFast(120000, 1001);

Movie small_movie() {
  Movie movie;
  movie.width = 64;
  movie.height = 36;
  movie.frames = 24;
  return movie;
}

std::string small_bytes() {
  static const std::string bytes = movie_bytes(small_movie());
  return bytes;
}

std::string full_box(std::string_view type, const std::string& content) {
  return box(type, big(0, 4) + content);
}

// A sidecar for small_bytes().
std::string notes(const std::string& gamma, const std::string& umid = "A") {
  return "<NonRealTimeMeta><TargetMaterial umidRef=\"" + umid +
         "\"/><Duration value=\"24\"/><VideoFormat><VideoFrame captureFps=\"119.88p\" formatFps=\"23.98p\"/>"
         "</VideoFormat><AcquisitionRecord><Group name=\"CameraUnitMetadataSet\"><Item name=\"CaptureGammaEquation\" "
         "value=\"" +
         gamma + "\"/></Group></AcquisitionRecord></NonRealTimeMeta>";
}

ClipFiles files_of(std::initializer_list<ClipFiles::Part> parts) {
  return {"C0001", parts};
}
const ClipFiles kAlone = files_of({{"C0001.MP4", FileRole::video}});
const ClipFiles kWithSidecar = files_of({{"C0001.MP4", FileRole::video}, {"C0001M01.XML", FileRole::sidecar}});

ClipFacts facts_in(const MemFs& fs, const ClipFiles& files, std::vector<CameraDefault> cameras = {}) {
  auto facts = read_facts(fs, "R001", files, cameras, {});
  EXPECT_TRUE(facts) << facts.error().what;
  return facts.value_or(ClipFacts{});
}

ClipFacts facts_of_bytes(std::string bytes) {
  MemFs fs;
  fs.put("R001/C0001.MP4", std::move(bytes));
  return facts_in(fs, kAlone);
}

std::vector<std::string> codes(const ClipFacts& facts) {
  std::vector<std::string> codes;
  for (const auto& problem : facts.problems) codes.push_back(problem.code);
  return codes;
}
using Codes = std::vector<std::string>;

TEST(ReadFacts, FindsTheCamerasNotesInsideTheFile) {
  for (const bool in_moov : {false, true}) {
    const auto meta = full_box("meta", box("hdlr", std::string(24, '\0')) + full_box("xml ", notes("s-log3-cine")));
    const auto facts = facts_of_bytes(in_moov ? with_box(small_bytes(), {"moov"}, meta) : small_bytes() + meta);
    EXPECT_EQ(facts.gamma, "s-log3-cine");
    EXPECT_EQ(facts.capture_rate, kFast);
    EXPECT_EQ(facts.origin.at("gamma"), "notes in the file");
  }
}

TEST(ReadFacts, UsesNoSidecarThatIsAboutAnotherRecording) {
  MemFs fs;
  fs.put("R001/C0001.MP4", small_bytes() + full_box("meta", full_box("xml ", notes("s-log3", "A"))));
  fs.put("R001/C0001M01.XML", notes("rec709", "B"));
  const auto facts = facts_in(fs, kWithSidecar);
  EXPECT_EQ(facts.gamma, "s-log3");
  EXPECT_EQ(codes(facts), Codes{"sidecar_of_another_clip"});
  EXPECT_EQ(facts.problems[0].path, "C0001M01.XML");
}

TEST(ReadFacts, ReadsTheFirstSampleOfTimedMetadata) {
  const auto sample =
      timed_sample({{0x3210, label(0x01010605)}, {0x8106, big(120000, 4) + big(1001, 4)}, {0xE304, "xx"}});
  const auto facts = facts_of_bytes(with_timed_metadata(small_bytes(), sample));
  EXPECT_EQ(facts.gamma, "s-log3-cine");
  EXPECT_EQ(facts.gamut, "s-gamut3-cine");
  EXPECT_EQ(facts.capture_rate, kFast);
  EXPECT_EQ(facts.origin.at("gamma"), "timed metadata");
  EXPECT_EQ(facts.frames, 24);
}

const std::vector<Item> kCameraSays = {{0x7FFF, std::string(300, 'x')},  // too much for one packet
                                       {0x3210, label(0x01010605)},
                                       {0x8106, big(120000, 4) + big(1001, 4)},
                                       {0x8109, big(1, 4) + big(50, 4)},
                                       {0x810B, big(800, 2)}};

Movie mxf_with(const std::string& ancillary) {
  Movie movie = small_movie();
  movie.format = "mxf";
  movie.video_codec = "mpeg2video";
  movie.rate = Rational(25, 1);
  movie.ancillary = ancillary;
  return movie;
}

// SMPTE RDD 18: the data identifiers of its packets.
const std::string kRdd18 = "\x43\x05";

TEST(ReadFacts, ReadsTheAncillaryPacketsOfMxf) {
  for (const int more : {2, 3, 4, 8}) {
    const auto facts = facts_of_bytes(movie_bytes(mxf_with(ancillary(kRdd18, camera_set(kCameraSays, more)))));
    EXPECT_EQ(facts.gamma, "s-log3-cine");
    EXPECT_EQ(facts.gamut, "s-gamut3-cine");
    EXPECT_EQ(facts.capture_rate, kFast);
    EXPECT_EQ(facts.shutter, Rational(1, 50));
    EXPECT_EQ(facts.iso, 800);
    EXPECT_EQ(facts.origin.at("gamma"), "timed metadata");
    EXPECT_EQ(facts.frame_rate, Rational(25, 1));
    EXPECT_EQ(codes(facts), Codes{});
  }
  // Words of ten bits are not read, and what stands around them is no whole set.
  auto coded = ancillary(kRdd18, camera_set(kCameraSays));
  coded[2 + 3] = 7;
  EXPECT_EQ(facts_of_bytes(movie_bytes(mxf_with(coded))).gamma, std::nullopt);
  // A caption, not the camera's settings.
  const auto others = facts_of_bytes(movie_bytes(mxf_with(ancillary("\x61\x01", camera_set(kCameraSays)))));
  EXPECT_EQ(others.gamma, std::nullopt);
}

// An MXF file with the camera's set in place of the fill item before the n-th picture.
std::string mxf_with_set(int n) {
  auto bytes = movie_bytes(mxf_with(""));
  const std::string_view kPicture("\x06\x0E\x2B\x34\x01\x02\x01\x01\x0D\x01\x03\x01\x15", 13);
  const std::string_view kFill("\x06\x0E\x2B\x34\x01\x01\x01\x02\x03\x01\x02\x10\x01\0\0\0", 16);
  std::size_t picture = 0;
  for (int i = 0; i < n; ++i) picture = bytes.find(kPicture, picture + 1);
  const auto fill = bytes.rfind(kFill, picture);
  const auto set = camera_set({kCameraSays.begin() + 1, kCameraSays.end()});
  const auto rest = picture - fill - set.size() - kFill.size() - 4;
  return bytes.replace(fill, picture - fill,
                       set + std::string(kFill) + "\x83" + big(rest, 3) + std::string(rest, '\0'));
}

TEST(ReadFacts, ReadsSetsThatAreElementsOfMxf) {
  const auto facts = facts_of_bytes(mxf_with_set(1));
  EXPECT_EQ(facts.gamma, "s-log3-cine");
  EXPECT_EQ(facts.iso, 800);
  EXPECT_EQ(codes(facts), Codes{});
  // Behind the second picture it is no longer the first frame's.
  EXPECT_EQ(facts_of_bytes(mxf_with_set(3)).gamma, std::nullopt);
}

TEST(ReadFacts, ReadsTheSettingsInAStreamOfMessages) {
  const auto facts = facts_of_bytes(with_timed_metadata(
      small_bytes(), djmd_sample({.colour_mode = 2, .sensor_rate = 119.93F, .slow_motion = true}), "djmd"));
  EXPECT_EQ(facts.camera, "L-1");
  EXPECT_EQ(facts.gamma, "d-log");
  EXPECT_EQ(facts.gamut, "d-gamut");
  EXPECT_EQ(facts.iso, 800);
  EXPECT_EQ(facts.shutter, Rational(1, 50));
  EXPECT_EQ(facts.white_balance, 5600);
  EXPECT_EQ(facts.capture_rate, Rational(120000, 1001));  // five times the file's, exactly
  EXPECT_EQ(facts.origin.at("gamma"), "timed metadata");
}

TEST(ReadFacts, ReadsTheSampleEntrysCurve) {
  const auto id = "com.apple.rec2020.apple-log";
  const auto facts = facts_of_bytes(
      with_box(small_bytes(), {"moov", "trak", "mdia", "minf", "stbl", "stsd", "avc1"}, box("logs", id)));
  EXPECT_EQ(facts.gamma, "apple-log");
  EXPECT_EQ(facts.gamut, "rec2020");
  EXPECT_EQ(facts.origin.at("gamma"), "sample entry");
}

TEST(ReadFacts, ReadsQuickTimeKeys) {
  Movie movie = small_movie();
  movie.format = "mov";
  movie.tags = {
      {"com.android.capture.fps", "240.000000"},      {"com.apple.proapps.customgamma", "org.example.camera.f-log2"},
      {"com.apple.quicktime.model", "L-1"},           {"com.arri.camera.ExposureIndexAsa", "800"},
      {"com.arri.camera.WhiteBalanceKelvin", "5600"}, {"com.blackmagic-design.camera.lensType", "35mm F2"}};
  const auto facts = facts_of_bytes(movie_bytes(movie));
  EXPECT_EQ(facts.capture_rate, Rational(240, 1));
  EXPECT_EQ(facts.gamma, "f-log2");
  EXPECT_EQ(facts.camera, "L-1");
  EXPECT_EQ(facts.iso, 800);
  EXPECT_EQ(facts.white_balance, 5600);
  EXPECT_EQ(facts.lens, "35mm F2");
}

TEST(ReadFacts, ReadsFloatKeysThatLibavLeavesOut) {
  const std::string name = "com.apple.proapps.shootingRate";
  const auto keys = full_box("keys", big(1, 4) + box("mdta", name));
  const auto value = box("data", big(24, 4) + big(0, 4) + big(std::bit_cast<std::uint64_t>(59.94), 8));
  const auto item = big(8 + value.size(), 4) + big(1, 4) + value;
  const auto meta =
      box("meta", box("hdlr", std::string(8, '\0') + "mdta" + std::string(12, '\0')) + keys + box("ilst", item));
  EXPECT_EQ(facts_of_bytes(with_box(small_bytes(), {"moov"}, meta)).capture_rate, Rational(60000, 1001));
}

TEST(ReadFacts, ReadsClipMetadataInAKey) {
  Movie movie = small_movie();
  movie.format = "mov";
  movie.tags = {
      {"com.panasonic.Semi-Pro.metadata.xml",
       R"(<?xml version="1.0"?><ClipMain xmlns="urn:schemas-Professional-Plug-in:Semi-Pro:ClipMetadata:v1.0">)"
       R"(<UserArea><AcquisitionMetadata xmlns="urn:schemas-Professional-Plug-in:P2:CameraMetadata:v1.2">)"
       R"(<CameraUnitMetadata><ISOSensitivity>800</ISOSensitivity><WhiteBalanceColorTemperature>5600K)"
       R"(</WhiteBalanceColorTemperature><Gamma><CaptureGamma>V-Log</CaptureGamma></Gamma><Gamut><CaptureGamut>V-Gamut)"
       R"(</CaptureGamut></Gamut></CameraUnitMetadata></AcquisitionMetadata></UserArea></ClipMain>)"}};
  const auto facts = facts_of_bytes(movie_bytes(movie));
  EXPECT_EQ(facts.gamma, "v-log");
  EXPECT_EQ(facts.gamut, "v-gamut");
  EXPECT_EQ(facts.iso, 800);
  EXPECT_EQ(facts.white_balance, 5600);
}

TEST(ReadFacts, BelievesATransferCodeOnlyWhereItIsPqOrHlg) {
  const auto with_colr = [](int transfer) {
    return with_box(
        small_bytes(), {"moov", "trak", "mdia", "minf", "stbl", "stsd", "avc1"},
        box("colr", "nclx" + big(9, 2) + big(static_cast<std::uint64_t>(transfer), 2) + big(9, 2) + big(0, 1)));
  };
  EXPECT_EQ(facts_of_bytes(with_colr(18)).gamma, "hlg");
  EXPECT_EQ(facts_of_bytes(with_colr(16)).gamma, "pq");
  EXPECT_EQ(facts_of_bytes(with_colr(1)).gamma, std::nullopt);  // written beside log, too
  EXPECT_EQ(facts_of_bytes(with_colr(9)).gamma, std::nullopt);  // no camera's log
}

TEST(ReadFacts, AsksThePlanLast) {
  MemFs fs;
  fs.put("R001/C0001.MP4", small_bytes());
  fs.put("R001/C0001M01.XML", "<NonRealTimeMeta><Device modelName=\"L-1\"/></NonRealTimeMeta>");
  const std::vector<CameraDefault> cameras{{"l-1", "N-Log"}};
  const auto facts = facts_in(fs, kWithSidecar, cameras);
  EXPECT_EQ(facts.gamma, "n-log");
  EXPECT_EQ(facts.origin.at("gamma"), "plan");
  EXPECT_EQ(facts_in(fs, kAlone, cameras).gamma, std::nullopt);  // it does not say which camera
  fs.put("R001/C0001M01.XML", notes("s-log3"));
  EXPECT_EQ(facts_in(fs, kWithSidecar, cameras).gamma, "s-log3");
}

TEST(ReadFacts, TrustsTheSidecarOverTheFileOverTimedMetadata) {
  const auto sample = timed_sample({{0x3210, label(0x01020000)}, {0x3219, label(0x01030105)}});
  std::string bytes = with_timed_metadata(small_bytes(), sample);
  MemFs fs;
  fs.put("R001/C0001.MP4", bytes);
  EXPECT_EQ(facts_in(fs, kWithSidecar).gamma, "rec709");  // the sidecar is not there
  fs.put("R001/C0001M01.XML", notes("s-log3-cine"));
  const auto facts = facts_in(fs, kWithSidecar);
  EXPECT_EQ(facts.gamma, "s-log3-cine");
  EXPECT_EQ(facts.gamut, "s-gamut3-cine");  // of which the sidecar says nothing
  EXPECT_EQ(facts.origin.at("gamut"), "timed metadata");
}

TEST(ReadFacts, SaysWhenASidecarCantBeRead) {
  MemFs fs;
  fs.put("R001/C0001.MP4", small_bytes());
  fs.put("R001/C0001M01.XML", "<NonRealTimeMeta><Duration");
  EXPECT_EQ(codes(facts_in(fs, kWithSidecar)), Codes{"sidecar_unreadable"});
  fs.put("R001/C0001M01.XML", std::string(3'000'000, ' '));
  EXPECT_EQ(codes(facts_in(fs, kWithSidecar)), Codes{"sidecar_unreadable"});
}

TEST(ReadFacts, CountsTheFilesOfASpanAsOne) {
  MemFs fs;
  fs.put("R001/A.MP4", small_bytes());
  fs.put("R001/B.MP4", small_bytes());
  const auto facts = facts_in(fs, files_of({{"A.MP4", FileRole::video}, {"B.MP4", FileRole::video}}));
  EXPECT_EQ(facts.frames, 48);
  EXPECT_EQ(facts.duration, Micros(2'002'000));
  EXPECT_NEAR(static_cast<double>(*facts.bit_rate), static_cast<double>(small_bytes().size()) * 8 / 1.001, 20);
}

TEST(ReadFacts, PassesTheDisksErrorOn) {
  MemFs inner;
  inner.put("R001/C0001.MP4", small_bytes());
  inner.put("R001/C0001M01.XML", notes("s-log3"));
  FaultFs counting(inner);
  ASSERT_TRUE(read_facts(counting, "R001", kWithSidecar, {}, {}));
  for (const auto& operation : counting.operations()) {
    FaultFs fs(inner);
    fs.fail_at(operation, Code::gone);
    const auto facts = read_facts(fs, "R001", kWithSidecar, {}, {});
    ASSERT_FALSE(facts) << operation;
    EXPECT_EQ(facts.error().code, Code::gone) << operation;
  }
}

TEST(ReadFacts, SurvivesBytesThatAreWrong) {
  const auto sample = timed_sample({{0x3210, label(0x01010605)}, {0x8106, big(120000, 4) + big(1001, 4)}});
  std::string whole = with_timed_metadata(small_bytes(), sample);
  whole += full_box("meta", full_box("xml ", notes("s-log3")));
  const auto from = whole.find("moov");
  std::mt19937 dice(11);
  for (int round = 0; round < 400; ++round) {
    std::string bytes = whole;
    for (auto hits = 1 + dice() % 6; hits > 0; --hits)
      bytes[from + dice() % (bytes.size() - from)] = static_cast<char>(dice() % 3 == 0 ? 0xFF : dice());
    const auto facts = facts_of_bytes(bytes);
    if (facts.capture_rate) {
      EXPECT_GT(facts.capture_rate->value(), 0);
    }
  }
}

TEST(TimedMetadata, KnowsEveryCurveItHasALabelFor) {
  const std::pair<std::uint32_t, const char*> curves[] = {
      {0x01010501, "s-log"},       {0x01010508, "s-log2"}, {0x01010604, "s-log3"},      {0x01010605, "s-log3-cine"},
      {0x01010606, "rec2020"},     {0x01010607, "pq"},     {0x01010608, "hlg"},         {0x01010705, "s-cinetone"},
      {0x010B0000, "rec2100-hlg"}, {0x01020000, "rec709"}, {0x01080000, "rec709-xvycc"}};
  for (const auto& [end, gamma] : curves)
    EXPECT_EQ(read_timed_metadata(timed_sample({{0x3210, label(end)}})).gamma, gamma);
  EXPECT_EQ(read_timed_metadata(timed_sample({{0x3210, label(0x7F7F7F7F)}})).gamma, std::nullopt);
}

TEST(TimedMetadata, EndsWhereTheBytesMakeNoSense) {
  const auto whole = timed_sample({{0x8106, big(120000, 4) + big(1001, 4)}, {0x3210, label(0x01010605)}});
  for (std::size_t length = 0; length < whole.size(); ++length)
    EXPECT_EQ(read_timed_metadata(std::string_view(whole).substr(0, length)).gamma, std::nullopt);
  EXPECT_EQ(read_timed_metadata(timed_sample({{0x8106, big(0, 8)}})).capture_rate, std::nullopt);
  EXPECT_EQ(read_timed_metadata(std::string(5000, '\xFF')).capture_rate, std::nullopt);
}

TEST(TimedMetadata, TellsHowTheFirstFrameWasExposed) {
  const auto claim = read_timed_metadata(
      timed_sample({{0x8109, big(1, 4) + big(50, 4)}, {0x810B, big(12800, 2)}, {0x810E, big(5600, 2)}}));
  EXPECT_EQ(claim.shutter, Rational(1, 50));
  EXPECT_EQ(claim.iso, 12800);
  EXPECT_EQ(claim.white_balance, 5600);
  // Common practice: a shutter of 180 degrees opens for half of a frame's time.
  const auto angle = read_timed_metadata(timed_sample({{0x8108, big(180 * 60, 4)}, {0x8106, big(25, 4) + big(1, 4)}}));
  EXPECT_EQ(angle.shutter, Rational(1, 50));
  EXPECT_EQ(read_timed_metadata(timed_sample({{0x8108, big(180 * 60, 4)}})).shutter, std::nullopt);
  EXPECT_EQ(read_timed_metadata(timed_sample({{0x810B, big(65535, 2)}})).iso, std::nullopt);  // that, or more
  const auto none = read_timed_metadata(timed_sample({{0x8109, big(0, 8)}, {0x810B, big(0, 2)}, {0x810E, "x"}}));
  EXPECT_FALSE(none.shutter || none.iso || none.white_balance);
}

TEST(TimedMetadata, KnowsAnotherMakersLabels) {
  const auto label = [](std::uint64_t end) { return std::string(8, '\x06') + big(end, 8); };
  const std::pair<std::uint64_t, const char*> curves[] = {{0x0E15000101000000, "c-log"},
                                                          {0x0E15000102000000, "c-log2"},
                                                          {0x0E15000107000000, "c-log3"},
                                                          {0x04010101010A0000, "pq"},
                                                          {0x04010101010B0000, "hlg"}};
  for (const auto& [end, gamma] : curves)
    EXPECT_EQ(read_timed_metadata(timed_sample({{0xE211, label(end)}})).gamma, gamma);
  EXPECT_EQ(read_timed_metadata(timed_sample({{0xE212, label(0x0E15000202000000)}})).gamut, "cinema-gamut");
}

TEST(TimedMetadata, ReadsEveryFormOfALength) {
  const std::vector<Item> gamma{{0x3210, label(0x01010605)}};
  for (const int more : {0, 1, 2, 3, 4, 8})
    EXPECT_EQ(read_acquisition_sets(camera_set(gamma, more)).gamma, "s-log3-cine") << more;
  auto unsaid = camera_set(gamma, 0);
  unsaid[16] = '\x80';
  EXPECT_EQ(read_acquisition_sets(unsaid).gamma, std::nullopt);
  // Of a later version of the registry.
  auto later = camera_set(gamma);
  later[7] = 0x0E;
  EXPECT_EQ(read_acquisition_sets(later).gamma, "s-log3-cine");
  // Another set, whose tags mean other things, is passed over as a whole.
  auto other = camera_set({{0x8106, big(50, 4) + big(1, 4)}, {0x3210, label(0x01010501)}});
  other[8] = 0x0D;
  EXPECT_EQ(read_acquisition_sets(other).capture_rate, std::nullopt);
  const auto both = read_acquisition_sets(other + camera_set(gamma));
  EXPECT_EQ(both.gamma, "s-log3-cine");
  EXPECT_EQ(both.capture_rate, std::nullopt);
}

TEST(MakerNotes, TellTheColourModeOfMessages) {
  const std::pair<int, const char*> modes[] = {
      {1, "d-cinelike"}, {2, "d-log"}, {9, "hlg"}, {19, "d-log-m"}, {22, "d-log2"}};
  for (const auto& [mode, gamma] : modes) EXPECT_EQ(dji_claim(djmd_sample({.colour_mode = mode}), kFilm).gamma, gamma);
  for (const auto& mode : {std::optional<int>(), std::optional(0), std::optional(10)})  // nothing, the default, art
    EXPECT_EQ(dji_claim(djmd_sample({.colour_mode = mode}), kFilm).gamma, std::nullopt);
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
        const auto claim = dji_claim(djmd_sample({known.schema, 2, colour_at, 23.98F, rate_at, false}), kFilm);
        EXPECT_EQ(claim.camera, "L-1");
        EXPECT_EQ(claim.iso, 800);
        EXPECT_EQ(claim.shutter, Rational(1, 50));
        EXPECT_EQ(claim.white_balance, 5600);
        EXPECT_EQ(claim.gamma.has_value(), colour_at == known.colour_at);
        EXPECT_EQ(claim.capture_rate.has_value(), rate_at == known.rate_at);
      }
  const auto unknown = dji_claim(djmd_sample({.schema = "dvtm_future.proto", .colour_mode = 2}), kFilm);
  EXPECT_FALSE(unknown.gamma || unknown.iso || unknown.camera || unknown.shutter);
}

TEST(MakerNotes, TakeASensorsRateForAMultipleOfTheFiles) {
  const auto rate = [](float measured, std::optional<Rational> of_file, bool slow_motion) {
    return dji_claim(djmd_sample({.sensor_rate = measured, .slow_motion = slow_motion}), of_file).capture_rate;
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
  EXPECT_EQ(canon_claim(canon_box(2, 3)).gamma, "c-log3");
  EXPECT_EQ(canon_claim(canon_box(2, 3)).gamut, "cinema-gamut");
  EXPECT_EQ(canon_claim(canon_box(1, 2)).gamma, "c-log2");
  EXPECT_EQ(canon_claim(canon_box(0, 1)).gamut, "rec709");
  EXPECT_EQ(canon_claim(canon_box(0, 0)).gamma, std::nullopt);  // no log: which curve then is not said
  const std::pair<int, const char*> modes[] = {{0x10, "f-log"}, {0x20, "hlg"}, {0x30, "f-log2"}};
  for (const auto& [mode, gamma] : modes) EXPECT_EQ(fujifilm_claim(fujifilm_box(mode)).gamma, gamma);
  EXPECT_EQ(panasonic_claim(panasonic_box(17)).gamma, "v-log");
  EXPECT_EQ(panasonic_claim(panasonic_box(1)).gamma, std::nullopt);
  EXPECT_EQ(gopro_claim(gopro_box("FLAT", kFast)).gamma, "flat");
  EXPECT_EQ(gopro_claim(gopro_box("GOPRO", kFast)).gamma, std::nullopt);
}

TEST(MakerNotes, TellTheExposure) {
  for (const auto& claim :
       {canon_claim(canon_box(2, 3)), fujifilm_claim(fujifilm_box(0x10)), panasonic_claim(panasonic_box(17))}) {
    EXPECT_EQ(claim.shutter, Rational(1, 50));
    EXPECT_EQ(claim.iso, 800);
  }
  const auto records = nikon_claim(nikon_box(kFilm, kFilm), kFilm);
  EXPECT_EQ(records.shutter, Rational(1, 50));
  EXPECT_EQ(records.lens, "35mm F2");
  const auto exif = tiff("Panasonic", {short_field(0x8827, 65535), text_field(0xA434, "35mm F2 ")},
                         [](std::uint32_t) { return std::string("Panasonic"); });
  const auto claim = panasonic_claim(std::string("Exif\0\0", 6) + exif);
  EXPECT_EQ(claim.iso, std::nullopt);  // Exif 2.32: that, or more
  EXPECT_EQ(claim.lens, "35mm F2");
}

TEST(MakerNotes, TellTheCaptureRate) {
  EXPECT_EQ(gopro_claim(gopro_box("FLAT", kFast)).capture_rate, kFast);
  const auto steps = gopro_box("FLAT", kFilm) + "RATEc" + big(1, 1) + big(8, 2) + std::string("0_5SEC\0\0", 8);
  EXPECT_EQ(gopro_claim(steps).capture_rate, std::nullopt);
  // Of two rates the one that is not the file's.
  EXPECT_EQ(nikon_claim(nikon_box(kFilm, kFast), kFilm).capture_rate, kFast);
  EXPECT_EQ(nikon_claim(nikon_box(kFast, kFilm), kFilm).capture_rate, kFast);
  EXPECT_EQ(nikon_claim(nikon_box(kFilm, kFilm), kFilm).capture_rate, kFilm);
  EXPECT_EQ(nikon_claim(nikon_box(kFast, kFast), kFilm).capture_rate, std::nullopt);
  EXPECT_EQ(nikon_claim(nikon_box(kFilm, kFast), std::nullopt).capture_rate, std::nullopt);
  EXPECT_EQ(nikon_claim(nikon_box(kFilm, kFast), kFilm).camera, "L-1");
}

TEST(MakerNotes, StandInTheMoviesUserData) {
  const std::pair<std::string, const char*> boxes[] = {{box("MVTG", fujifilm_box(0x10)), "f-log"},
                                                       {box("PANA", panasonic_box(17)), "v-log"},
                                                       {box("PANA", panasonic_box(17, 0x4080)), "v-log"},
                                                       {box("PANA", panasonic_box(17, 0x200080)), "v-log"},
                                                       {box("GPMF", gopro_box("FLAT", kFilm)), "flat"}};
  for (const auto& [content, gamma] : boxes) {
    const auto facts = facts_of_bytes(with_box(small_bytes(), {"moov", "udta"}, content));
    EXPECT_EQ(facts.gamma, gamma);
    EXPECT_EQ(facts.origin.at("gamma"), "maker's notes");
  }
  const auto slow = box("NCDT", box("NCTG", nikon_box(kFilm, kFast)));
  EXPECT_EQ(facts_of_bytes(with_box(small_bytes(), {"moov", "udta"}, slow)).capture_rate, kFast);
}

// Whatever the bytes: a curve is one of the maker's, a number makes sense.
void expect_sense(const Claim& claim, const std::string& maker) {
  if (claim.gamma) {
    EXPECT_NE((" " + maker + " ").find(" " + *claim.gamma + " "), std::string::npos) << *claim.gamma;
  }
  EXPECT_GT(claim.iso.value_or(1), 0);
  EXPECT_GT(claim.shutter.value_or(Rational(1, 1)).num(), 0);
  EXPECT_GT(claim.capture_rate.value_or(Rational(1, 1)).num(), 0);
}

TEST(MakerNotes, SurviveEveryCutAndFlip) {
  const auto nikon = [](std::string_view bytes) { return nikon_claim(bytes, kFilm); };
  const auto dji = [](std::string_view bytes) { return dji_claim(bytes, kFilm); };
  const std::tuple<std::string, const char*, std::function<Claim(std::string_view)>> makers[] = {
      {canon_box(2, 3), "c-log c-log2 c-log3", canon_claim},
      {fujifilm_box(0x10), "f-log f-log2 hlg", fujifilm_claim},
      {panasonic_box(17), "v-log", panasonic_claim},
      {nikon_box(kFilm, kFast), "", nikon},
      {gopro_box("FLAT", kFast), "flat", gopro_claim},
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
