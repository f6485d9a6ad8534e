#include "media/facts.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <bit>
#include <random>

#include "base/text.h"
#include "support/fault_fs.h"
#include "support/maker_boxes.h"
#include "support/media_boxes.h"
#include "support/media_card.h"
#include "support/media_movie.h"
#include "support/mem_fs.h"
#include "support/rooms.h"

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
  for (const auto& problem : facts.problems) codes.push_back(to_string(problem.code));
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

TEST(ReadFacts, FindsMakersNotesInTheMoviesUserData) {
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

// What a camera says of its capture rate makes no slow motion of a recording that has sound: that plays in real time.
TEST(ReadFacts, TellSlowMotionFromARecordingWithSound) {
  Movie movie = small_movie();
  movie.format = "mov";
  movie.tags = {{"com.android.capture.fps", "120"}};
  Clip clip;
  clip.facts = facts_of_bytes(movie_bytes(movie));
  EXPECT_EQ(clip.facts.audio, false);
  EXPECT_NEAR(stored_slow(clip).value_or(0), 5.005, 1e-9);  // 120 of 24000/1001
  movie.sound = Sound{48000, 1, std::vector<float>(48000, 0.1F)};
  clip.facts = facts_of_bytes(movie_bytes(movie));
  EXPECT_EQ(clip.facts.audio, true);
  EXPECT_EQ(clip.facts.capture_rate, Rational(120, 1));
  EXPECT_EQ(stored_slow(clip), 1);
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

}  // namespace
}  // namespace everytake
