#include <gtest/gtest.h>

#include <algorithm>

#include "base/text.h"
#include "coverage/json.h"
#include "export/json.h"
#include "support/rooms.h"

namespace everytake {
namespace {

using namespace std::chrono_literals;

// RFC 3629, section 3.
std::string utf8(char32_t point) {
  const auto tail = [point](int shift) { return static_cast<char>(0x80 | (point >> shift & 0x3f)); };
  if (point < 0x80) return {static_cast<char>(point)};
  if (point < 0x800) return {static_cast<char>(0xc0 | point >> 6), tail(0)};
  if (point < 0x10000) return {static_cast<char>(0xe0 | point >> 12), tail(6), tail(0)};
  return {static_cast<char>(0xf0 | point >> 18), tail(12), tail(6), tail(0)};
}

Plan plan() {
  Plan plan;
  plan.title = "Saltmarsh Radio";
  plan.frame_rate = Rational(24000, 1001);
  plan.song.length = 60s;
  plan.members = {{"Ada", "voice"}, {"Jonas", "guitar"}};
  Section verse{
      .name = "Verse", .span = {10s, 30s}, .first_bar = {}, .bars = {}, .members = {"Ada"}, .want = {3, 2, 1, 2}};
  Section chorus{
      .name = "Chorus", .span = {30s, 50s}, .first_bar = {}, .bars = {}, .members = {"Ada", "Jonas"}, .want = {}};
  plan.sections = {verse, chorus};
  plan.member_seconds = 30s;
  return plan;
}

Clip take() {
  Clip clip;
  clip.id = {17};
  clip.roll = "R001";
  clip.name = "C0003";
  clip.path = "CLIP/C0003.MP4";
  clip.size = 123'456'789;
  clip.digest = Digest::from_hex("00112233445566778899aabbccddeeff");
  clip.facts.duration = 20'020ms;
  clip.facts.frames = 480;
  clip.facts.frame_rate = Rational(24000, 1001);
  clip.facts.capture_rate = Rational(60000, 1001);
  clip.facts.recorded_at = Instant(1'700'000'000s);
  clip.facts.audio = true;
  clip.facts.problems = {{ProblemCode::other_gamma, "", "", "shot in s-log2"}};
  clip.facts.origin = {{"gamma", "sidecar"}};
  clip.judgement = {Kind::performance, By::rule, "the song is heard in it"};
  clip.members = {"Ada"};
  clip.look = "warm side light";
  clip.placement.state = Placement::State::placed;
  clip.placement.start = 12'250ms;
  clip.placement.drift_ppm = -3.5;
  clip.placement.confidence = 0.98;
  clip.placement.spans = {{12'250ms, 30'500ms}};
  clip.copies = {
      {"desk", "/media/desk/footage/saltmarsh-radio/R001/CLIP/C0003.MP4", CopyState::verified, Instant(1'700'000'100s)},
      {"shuttle", "/media/shuttle/x", CopyState::planned, std::nullopt}};
  return clip;
}

// U+061C, U+200B–U+200F, U+2028–U+202E, U+2060–U+2069 and U+FEFF as the Unicode Standard has them; C0, DEL and C1.
TEST(Dump, WritesNothingThatATerminalWouldObey) {
  std::vector<char32_t> points{0x61c, 0xfeff, 0xe0001, 0x7f};
  for (const auto& [first, last] :
       {std::pair<char32_t, char32_t>{1, 0x1f}, {0x80, 0x9f}, {0x200b, 0x200f}, {0x2028, 0x202e}, {0x2060, 0x2069}})
    for (auto point = first; point <= last; ++point) points.push_back(point);
  for (const auto point : points) {
    const auto character = utf8(point);
    const auto text = dump(Json{{"name", "a" + character + "b"}, {character, 1}});
    EXPECT_TRUE(std::all_of(text.begin(), text.end(), [](char c) { return c >= 0x20 && c < 0x7f; }))
        << std::hex << static_cast<std::uint32_t>(point) << " " << text;
    EXPECT_EQ(Json::parse(text)["name"], "a" + character + "b");
    EXPECT_EQ(Json::parse(text)[character], 1);
    EXPECT_EQ(shown(character).front(), '\\') << std::hex << static_cast<std::uint32_t>(point);
  }
  EXPECT_EQ(dump("\u202e"), R"("\u202e")");
  EXPECT_EQ(dump("\U000e0001"), R"("\udb40\udc01")");
  EXPECT_EQ(dump("Grüße 歌 \xff"), "\"Grüße 歌 \ufffd\"");
}

TEST(ClipJson, HasWhatIsKnown) {
  const Json expected = Json::parse(R"({
    "id": 17, "roll": "R001", "name": "C0003", "path": "CLIP/C0003.MP4", "size_bytes": 123456789,
    "xxh128": "00112233445566778899aabbccddeeff",
    "duration_s": 20.02, "frames": 480, "frame_rate": "24000/1001", "capture_rate": "60000/1001", "slow_factor": 2.5,
    "width": null, "height": null, "rotation": null, "codec": null, "bit_depth": null, "bit_rate": null,
    "gamma": null, "gamut": null, "timecode": null, "drop_frame": null, "recorded_at": "2023-11-14T22:13:20Z",
    "camera": null, "lens": null, "iso": null, "shutter_s": null, "white_balance_k": null, "audio": true, "sound_peak_db": null, "sound_clipped_fraction": null,
    "on_screen_s": 20.02,
    "kind": "performance", "kind_by": "rule", "because": "the song is heard in it",
    "members": ["Ada"], "sections": [], "look": "warm side light", "angle": null, "rating": null, "note": null,
    "song": {"state": "placed", "by": "rule", "start_s": 12.25, "speed": 1.0, "drift_ppm": -3.5,
             "stored_slow": 1.0, "confidence": 0.98, "spans": [[12.25, 30.5]],
             "settled_by": null, "sections": ["Verse"], "candidates": []},
    "copies": [{"destination": "desk", "path": "/media/desk/footage/saltmarsh-radio/R001/CLIP/C0003.MP4",
                "state": "verified", "verified_at": "2023-11-14T22:15:00Z"},
               {"destination": "shuttle", "path": "/media/shuttle/x", "state": "planned", "verified_at": null}],
    "problems": [{"code": "other_gamma", "message": "shot in s-log2"}],
    "origin": {"gamma": "sidecar"}})");
  EXPECT_EQ(clip_json(take(), plan()).dump(1), expected.dump(1));
}

TEST(ClipJson, HasEveryFactUnderItsKey) {
  Clip clip = take();
  clip.facts = {.duration = 2'500ms,
                .frames = 60,
                .frame_rate = Rational(24, 1),
                .capture_rate = Rational(120, 1),
                .width = 3840,
                .height = 2160,
                .rotation = 90,
                .codec = "hevc",
                .bit_depth = 10,
                .bit_rate = 100'000'000,
                .gamma = "s-log3",
                .gamut = "s-gamut3",
                .timecode = "01:00:00:00",
                .drop_frame = false,
                .recorded_at = Instant(1'700'000'000s),
                .camera = "L-1",
                .lens = "35 mm",
                .iso = 800,
                .shutter = Rational(1, 50),
                .white_balance = 5600,
                .audio = true,
                .levels = SoundLevels{1000, -6.5, 0.25},
                .frames_seen = FramesSeen{5, 1},
                .problems = {},
                .origin = {}};
  const auto facts_in = [&] {
    Json facts;
    const auto json = clip_json(clip, plan());
    for (auto it = json.find("duration_s"); it.key() != "on_screen_s"; ++it) facts[it.key()] = it.value();
    return facts;
  };
  Json expected = Json::parse(R"({
    "duration_s": 2.5, "frames": 60, "frame_rate": "24/1", "capture_rate": "120/1", "slow_factor": 5.0,
    "width": 3840, "height": 2160, "rotation": 90, "codec": "hevc", "bit_depth": 10, "bit_rate": 100000000,
    "gamma": "s-log3", "gamut": "s-gamut3", "timecode": "01:00:00:00", "drop_frame": false,
    "recorded_at": "2023-11-14T22:13:20Z", "camera": "L-1", "lens": "35 mm", "iso": 800, "shutter_s": 0.02,
    "white_balance_k": 5600, "audio": true, "sound_peak_db": -6.5, "sound_clipped_fraction": 0.25})");
  EXPECT_EQ(facts_in().dump(1), expected.dump(1));
  clip.facts.levels = SoundLevels{0, -200, 0};  // nothing of its sound could be decoded
  expected["sound_peak_db"] = expected["sound_clipped_fraction"] = nullptr;
  EXPECT_EQ(facts_in().dump(1), expected.dump(1));
}

TEST(ClipJson, IsNullForWhatIsUnknownAndNeverAGuess) {
  Clip clip;
  clip.placement.state = Placement::State::ambiguous;
  clip.placement.start = 5s;  // the best guess there was
  clip.placement.spans = {{5s, 9s}};
  clip.placement.candidates = {{5s, 0.4}, {25s, 0.39}};
  const auto json = clip_json(clip, plan());
  for (const char* key :
       {"xxh128",   "duration_s", "frames",      "frame_rate", "capture_rate", "slow_factor", "width",
        "height",   "rotation",   "codec",       "bit_depth",  "bit_rate",     "gamma",       "gamut",
        "timecode", "drop_frame", "recorded_at", "camera",     "audio",        "kind",        "kind_by",
        "because",  "look",       "angle",       "rating",     "note"})
    EXPECT_TRUE(json.at(key).is_null()) << key;
  const auto& song = json["song"];
  for (const char* key : {"start_s", "speed", "drift_ppm", "confidence"}) EXPECT_TRUE(song.at(key).is_null()) << key;
  EXPECT_EQ(song["state"], "ambiguous");
  EXPECT_EQ(song["spans"], Json::array());
  EXPECT_EQ(song["candidates"],
            Json::parse(R"([{"start_s":5.0,"confidence":0.4},{"start_s":25.0,"confidence":0.39}])"));
}

TEST(ClipJson, CarriesNamesThatAreNoUtf8Exactly) {
  Clip clip = take();
  clip.path = "CLIP/\xff.MP4";
  clip.copies[0].path = "/media/desk/\xff.MP4";
  const auto json = Json::parse(dump(clip_json(clip, plan())));
  EXPECT_EQ(json["path"], "CLIP/\xef\xbf\xbd.MP4");    // U+FFFD
  EXPECT_EQ(json["path_base64"], "Q0xJUC//Lk1QNA==");  // by coreutils' base64
  EXPECT_EQ(json["copies"][0]["path_base64"], "L21lZGlhL2Rlc2sv/y5NUDQ=");
}

TEST(CoverageJson, HasEveryKeyOfSectionsMembersGapsAndRuns) {
  Clip b_roll = take();
  b_roll.digest = Digest::from_hex("ffeeddccbbaa99887766554433221100");
  b_roll.judgement.kind = Kind::b_roll;
  b_roll.sections = {"Verse"};
  b_roll.placement = {};
  const coverage::Run run{.span = {10s, 30s},
                          .members = {"Ada"},
                          .kind = Kind::b_roll,
                          .fills = {{"Verse", Kind::b_roll, {}, 1}, {"Verse", {}, {}, 1}, {{}, {}, "Ada", 9.5}},
                          .how = "Verse, Ada, b-roll (0:20)",
                          .gains = "+1 b-roll clip"};
  const Json expected = Json::parse(R"json({
    "song": {"title": "Saltmarsh Radio", "length_s": 60.0},
    "sections": [
      {"name": "Verse", "start_s": 10.0, "end_s": 30.0, "takes": 0, "takes_want": 3, "covered_s": 17.75,
       "covered_fraction": 0.8875, "b_roll": 1, "b_roll_want": 2, "b_roll_s": 20.02, "slow_mo": 0, "slow_mo_want": 1,
       "slow_mo_s": 0.0, "looks": ["warm side light"], "looks_want": 2,
       "in_doubt": {"takes": 0, "covered": false, "b_roll": 0, "slow_mo": 0, "looks": 0}},
      {"name": "Chorus", "start_s": 30.0, "end_s": 50.0, "takes": 0, "takes_want": 0, "covered_s": 0.5,
       "covered_fraction": 0.025, "b_roll": 0, "b_roll_want": 0, "b_roll_s": 0.0, "slow_mo": 0, "slow_mo_want": 0,
       "slow_mo_s": 0.0, "looks": [], "looks_want": 0,
       "in_doubt": {"takes": 0, "covered": false, "b_roll": 0, "slow_mo": 0, "looks": 0}}],
    "members": [
      {"name": "Ada", "seconds": 20.02, "seconds_want": 30.0, "seconds_in_doubt": 0.0,
       "kinds": {"performance": {"clips": 1, "seconds": 20.02}, "b-roll": {"clips": 1, "seconds": 20.02},
                 "slow-mo": {"clips": 0, "seconds": 0.0}},
       "sections": {"Verse": {"clips": 1}, "Chorus": {"clips": 0}}},
      {"name": "Jonas", "seconds": 0.0, "seconds_want": 30.0, "seconds_in_doubt": 0.0,
       "kinds": {"performance": {"clips": 0, "seconds": 0.0}, "b-roll": {"clips": 0, "seconds": 0.0},
                 "slow-mo": {"clips": 0, "seconds": 0.0}},
       "sections": {"Verse": null, "Chorus": {"clips": 0}}}],
    "gaps": [
      {"rank": 1, "section": "Verse", "member": null, "kind": "performance", "have": 0, "want": 3,
       "text": "Verse: 3 takes, none yet"},
      {"rank": 2, "section": "Verse", "member": null, "kind": "b-roll", "have": 1, "want": 2,
       "text": "Verse: 1 more b-roll clip"},
      {"rank": 3, "section": null, "member": "Jonas", "kind": null, "have": 0.0, "want": 30.0,
       "text": "Jonas: 30 s of b-roll or slow-mo"},
      {"rank": 4, "section": null, "member": "Ada", "kind": null, "have": 20.02, "want": 30.0,
       "text": "Ada: 10 s more of b-roll or slow-mo"},
      {"rank": 5, "section": "Verse", "member": null, "kind": "slow-mo", "have": 0, "want": 1,
       "text": "Verse: 1 slow-mo clip, none yet"},
      {"rank": 6, "section": "Verse", "member": null, "kind": null, "have": 1, "want": 2,
       "text": "Verse: 1 more look"}],
    "runs": [{"rank": 1, "text": "Verse, Ada, b-roll (0:20): +1 b-roll clip", "start_s": 10.0,
      "end_s": 30.0, "times": 1, "speed": 1.0, "members": ["Ada"], "kind": "b-roll",
      "fills": [{"section": "Verse", "kind": "b-roll", "member": null, "count": 1},
                {"section": "Verse", "kind": null, "member": null, "count": 1},
                {"section": null, "kind": null, "member": "Ada", "count": 9.5}]}],
    "problem_clips": 2, "in_doubt": [], "complete": false})json");
  EXPECT_EQ(coverage_json(coverage::coverage(plan(), std::vector{take(), b_roll}), {run}).dump(1), expected.dump(1));
}

}  // namespace
}  // namespace everytake
