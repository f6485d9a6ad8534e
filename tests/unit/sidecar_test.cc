#include "media/metadata/sidecar.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "base/text.h"
#include "support/media_card.h"
#include "support/rooms.h"

namespace everytake {
namespace {

std::string replaced(std::string text, const std::string& from, const std::string& to) {
  const auto at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return text.replace(at, from.size(), to);
}

test::CardClip slow_clip() {
  return test::card_clips()[4];
}

Sidecar parsed(const std::string& xml) {
  const auto sidecar = parse_sidecar(xml);
  EXPECT_TRUE(sidecar) << sidecar.error().what;
  return sidecar.value_or(Sidecar{});
}

std::vector<std::string> codes(const ClipFacts& facts) {
  std::vector<std::string> codes;
  for (const auto& problem : facts.problems) codes.push_back(to_string(problem.code));
  return codes;
}

TEST(ParseSidecar, ReadsWhatTheCameraWrote) {
  const auto sidecar = parsed(test::sidecar_xml(slow_clip()));
  EXPECT_EQ(sidecar.frames, 144);
  EXPECT_EQ(sidecar.capture_rate, Rational(120000, 1001));
  EXPECT_EQ(sidecar.format_rate, Rational(24000, 1001));
  EXPECT_EQ(sidecar.width, 320);
  EXPECT_EQ(sidecar.height, 180);
  EXPECT_EQ(sidecar.gamma, "s-log3-cine");
  EXPECT_EQ(sidecar.gamut, "s-gamut3-cine");
  EXPECT_EQ(sidecar.camera, "L-1");
  EXPECT_EQ(sidecar.lens, "35mm F2");
  EXPECT_EQ(iso8601(*sidecar.recorded_at), "2026-05-16T08:20:00Z");
  EXPECT_EQ(sidecar.ltc_base, 24);
  EXPECT_EQ(to_string(sidecar.first->label, {24000, 1001}), "01:20:10:00");
}

TEST(ParseSidecar, MatchesLocalNamesWhateverTheNamespace) {
  const std::string xml =
      R"(<n:NonRealTimeMeta xmlns:n="urn:schemas-professionalDisc:nonRealTimeMeta:ver.9.99">)"
      R"(<n:Duration value="50"/><n:AcquisitionRecord><n:Group name="CameraUnitMetadataSet">)"
      R"(<n:Item value="S-LOG3" name="CaptureGammaEquation"/></n:Group></n:AcquisitionRecord></n:NonRealTimeMeta>)";
  EXPECT_EQ(parsed(xml).frames, 50);
  EXPECT_EQ(parsed(xml).gamma, "s-log3");
}

TEST(ParseSidecar, LeavesOutWhatIsMissingOrMakesNoSense) {
  EXPECT_EQ(parsed("<NonRealTimeMeta/>"), Sidecar{});
  std::string xml = test::sidecar_xml(slow_clip());
  xml = replaced(xml, "captureFps=\"119.88p\"", "captureFps=\"very fast\"");
  xml = replaced(xml, "<Duration value=\"144\"", "<Duration value=\"-144\"");
  xml = replaced(xml, "2026-05-16T10:20:00+02:00", "yesterday");
  const auto sidecar = parsed(xml);
  EXPECT_EQ(sidecar.capture_rate, std::nullopt);
  EXPECT_EQ(sidecar.frames, std::nullopt);
  EXPECT_EQ(sidecar.recorded_at, std::nullopt);
  EXPECT_EQ(sidecar.gamma, "s-log3-cine");
}

TEST(ParseSidecar, TakesALabelWhereTheTimeBytesBelong) {
  const auto sidecar = parsed(
      R"(<NonRealTimeMeta><LtcChangeTable tcFps="25" halfStep="false"><LtcChange frameCount="0" value="10:11:12:13" )"
      R"(status="increment"/></LtcChangeTable></NonRealTimeMeta>)");
  ASSERT_TRUE(sidecar.first);
  EXPECT_EQ(to_string(sidecar.first->label, {25, 1}), "10:11:12:13");
}

TEST(ParseSidecar, RefusesOtherDocumentsAndHostileOnes) {
  EXPECT_EQ(parse_sidecar("").error().code, Code::corrupt);
  EXPECT_EQ(parse_sidecar("<NonRealTimeMeta>").error().code, Code::corrupt);
  EXPECT_EQ(parse_sidecar("no xml at all").error().code, Code::corrupt);
  EXPECT_EQ(parse_sidecar("<Playlist/>").error().code, Code::unsupported);
  EXPECT_EQ(parse_sidecar(std::string(2'000'000, ' ') + "<NonRealTimeMeta/>").error().code, Code::corrupt);
  std::string deep;
  for (int i = 0; i < 100'000; ++i) deep += "<a>";
  EXPECT_EQ(parse_sidecar(deep).error().code, Code::corrupt);
}

TEST(ParseSidecar, ExpandsNoEntities) {
  const auto sidecar =
      parse_sidecar(R"(<?xml version="1.0"?><!DOCTYPE NonRealTimeMeta [<!ENTITY x SYSTEM "file:///etc/passwd">]>)"
                    R"(<NonRealTimeMeta><Device modelName="&x;"/></NonRealTimeMeta>)");
  ASSERT_TRUE(sidecar);
  EXPECT_EQ(sidecar->camera, "&x;");
}

ClipFacts container_facts() {
  ClipFacts facts;
  facts.frames = 144;
  facts.frame_rate = Rational(24000, 1001);
  facts.recorded_at = parse_iso8601("2026-05-16T10:20:00Z");
  facts.origin["recorded_at"] = "container, UTC by its standard";
  facts.audio = false;
  return facts;
}

TEST(ApplySidecar, AddsWhatOnlyTheCameraKnows) {
  auto facts = container_facts();
  apply(facts, parsed(test::sidecar_xml(slow_clip())), "CLIP/C0005M01.XML");
  EXPECT_EQ(facts.capture_rate, Rational(120000, 1001));
  EXPECT_EQ(slow_factor(facts), Rational(5, 1));
  EXPECT_EQ(facts.gamma, "s-log3-cine");
  EXPECT_EQ(facts.origin.at("gamma"), "sidecar");
  EXPECT_EQ(facts.timecode, "01:20:10:00");
  EXPECT_EQ(facts.drop_frame, false);
  EXPECT_EQ(iso8601(*facts.recorded_at), "2026-05-16T08:20:00Z");  // its zone is known
  EXPECT_EQ(facts.audio, false);                                   // cameras list sound they did not record
  EXPECT_TRUE(facts.problems.empty());
}

TEST(ApplySidecar, TakesNothingOfAnotherClipsSidecar) {
  auto facts = container_facts();
  facts.frames = 500;
  apply(facts, parsed(test::sidecar_xml(slow_clip())), "CLIP/C0005M01.XML");
  EXPECT_EQ(codes(facts), std::vector<std::string>{"sidecar_of_another_clip"});
  EXPECT_EQ(facts.gamma, std::nullopt);
  EXPECT_EQ(iso8601(*facts.recorded_at), "2026-05-16T10:20:00Z");

  facts = container_facts();
  facts.frame_rate = Rational(24, 1);  // a thousandth apart is another rate
  apply(facts, parsed(test::sidecar_xml(slow_clip())), "CLIP/C0005M01.XML");
  EXPECT_EQ(codes(facts), std::vector<std::string>{"sidecar_of_another_clip"});
}

TEST(ApplySidecar, SaysWhereItDisagrees) {
  auto facts = container_facts();
  facts.frames = 145;
  apply(facts, parsed(test::sidecar_xml(slow_clip())), "CLIP/C0005M01.XML");
  EXPECT_EQ(codes(facts), std::vector<std::string>{"sidecar_disagrees"});
  EXPECT_EQ(facts.frames, 145);
  EXPECT_EQ(facts.gamma, "s-log3-cine");
}

// Start and end as cameras wrote them, with the frames the file had; the timecode must span them.
TEST(ApplySidecar, ChecksThatTheTimecodeSpansTheFrames) {
  struct Case {
    const char *rate, *base, *half, *first, *last;
    int frames;
    const char* label;
  };
  const Case cases[] = {
      {"59.94p", "30", "true", "40000000", "54830000", 210, "00:00:00;00"},
      {"29.97p", "30", "false", "40000000", "54050000", 165, "00:00:00;00"},
      {"23.98p", "24", "false", "00000000", "23040000", 120, "00:00:00:00"},
      {"25p", "25", "false", "17305719", "21250020", 4380, "19:57:30:17"},
      {"29.97p", "30", "false", "44410200", "53120700", 8130, "00:02:41;04"},
      {"29.97p", "30", "false", "67212901", "66342901", 390, "01:29:21;27"},
  };
  for (const auto& c : cases)
    for (const bool wrong : {false, true}) {
      const int frames = c.frames + (wrong ? 7 : 0);
      const std::string xml =
          std::string("<NonRealTimeMeta><Duration value=\"") + std::to_string(frames) + "\"/><LtcChangeTable tcFps=\"" +
          c.base + "\" halfStep=\"" + c.half + "\"><LtcChange frameCount=\"0\" value=\"" + c.first +
          "\" status=\"increment\"/><LtcChange frameCount=\"" + std::to_string(frames - 1) + "\" value=\"" + c.last +
          "\" status=\"end\"/></LtcChangeTable><VideoFormat><VideoFrame "
          "captureFps=\"" +
          c.rate + "\" formatFps=\"" + c.rate + "\"/></VideoFormat></NonRealTimeMeta>";
      ClipFacts facts;
      facts.frames = frames;
      facts.frame_rate = parse_rate(c.rate);
      apply(facts, parsed(xml), "C0001M01.XML");
      EXPECT_EQ(facts.timecode, c.label) << c.first;
      EXPECT_EQ(facts.problems.size(), wrong ? 1U : 0U) << c.first << " " << frames;
    }
}

TEST(ApplySidecar, LetsAnEarlierSidecarStand) {
  auto facts = container_facts();
  auto first = parsed(test::sidecar_xml(slow_clip()));
  apply(facts, first, "CLIP/C0005M01.XML");
  first.gamma = "rec709";
  apply(facts, first, "CLIP/C0005.MP4", "embedded sidecar");
  EXPECT_EQ(facts.gamma, "s-log3-cine");
}

}  // namespace
}  // namespace everytake
