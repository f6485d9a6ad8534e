#include "coverage/json.h"

namespace everytake::coverage {
namespace {

double share(Micros part, Micros whole) {
  return whole.count() > 0 ? seconds(part) / seconds(whole) : 0;
}

Json section_json(const SectionCoverage& section) {
  return {{"name", section.name},
          {"start_s", seconds(section.span.start)},
          {"end_s", seconds(section.span.end)},
          {"takes", section.takes},
          {"takes_want", section.want.takes},
          {"covered_s", seconds(section.covered)},
          {"covered_fraction", share(section.covered, section.span.length())},
          {"b_roll", section.b_roll},
          {"b_roll_want", section.want.b_roll},
          {"b_roll_s", seconds(section.b_roll_length)},
          {"slow_mo", section.slow_mo},
          {"slow_mo_want", section.want.slow_mo},
          {"slow_mo_s", seconds(section.slow_mo_length)},
          {"looks", section.looks},
          {"looks_want", section.want.looks},
          {"in_doubt",
           {{"takes", section.in_doubt.takes},
            {"covered", section.in_doubt.covered},
            {"b_roll", section.in_doubt.b_roll},
            {"slow_mo", section.in_doubt.slow_mo},
            {"looks", section.in_doubt.looks}}}};
}

Json member_json(const MemberCoverage& member, const std::vector<SectionCoverage>& sections) {
  Json kinds = Json::object(), in_sections = Json::object();
  for (const auto& [kind, share] : member.kinds)
    kinds[to_string(kind)] = {{"clips", share.clips}, {"seconds", seconds(share.on_screen)}};
  for (std::size_t i = 0; i < sections.size(); ++i) {
    const auto& clips = member.sections[i];
    in_sections[sections[i].name] = clips ? Json{{"clips", *clips}} : Json();
  }
  return {{"name", member.name},
          {"seconds", seconds(member.have)},
          {"seconds_want", seconds(member.want)},
          {"seconds_in_doubt", seconds(member.in_doubt)},
          {"kinds", kinds},
          {"sections", in_sections}};
}

Json gap_json(const Gap& gap, std::size_t rank) {
  const auto number = [&](double value) { return gap.member ? Json(value) : Json(static_cast<int>(value)); };
  return {{"rank", rank},
          {"section", maybe(gap.section)},
          {"member", maybe(gap.member)},
          {"kind", gap.kind ? Json(to_string(*gap.kind)) : Json()},
          {"have", number(gap.have)},
          {"want", number(gap.want)},
          {"text", gap.text}};
}

Json in_doubt_json(const ClipInDoubt& doubtful) {
  Json codes = Json::array();
  for (const auto code : doubtful.codes) codes.push_back(to_string(code));
  return {{"clip", doubtful.clip},         {"kind", to_string(doubtful.kind)}, {"codes", codes},
          {"sections", doubtful.sections}, {"members", doubtful.members},      {"text", doubtful.text}};
}

Json run_json(const Run& run, std::size_t rank) {
  Json fills = Json::array();
  for (const auto& fill : run.fills)
    fills.push_back({{"section", maybe(fill.section)},
                     {"kind", fill.kind ? Json(to_string(*fill.kind)) : Json()},
                     {"member", maybe(fill.member)},
                     {"count", fill.member ? Json(fill.count) : Json(static_cast<int>(fill.count))}});
  return {{"rank", rank},
          {"text", run.text()},
          {"start_s", seconds(run.span.start)},
          {"end_s", seconds(run.span.end)},
          {"times", run.times},
          {"speed", run.speed},
          {"members", run.members},
          {"kind", to_string(run.kind)},
          {"fills", fills}};
}

}  // namespace

Json coverage_json(const Coverage& coverage, const std::vector<Run>& runs) {
  Json sections = Json::array(), members = Json::array(), gaps = Json::array(), in_doubt = Json::array();
  Json next = Json::array();
  for (const auto& run : runs) next.push_back(run_json(run, next.size() + 1));
  for (const auto& doubtful : coverage.in_doubt) in_doubt.push_back(in_doubt_json(doubtful));
  for (const auto& section : coverage.sections) sections.push_back(section_json(section));
  for (const auto& member : coverage.members) members.push_back(member_json(member, coverage.sections));
  for (const auto& gap : coverage.gaps) gaps.push_back(gap_json(gap, gaps.size() + 1));
  return {
      {"song", {{"title", coverage.title}, {"length_s", coverage.length ? Json(seconds(*coverage.length)) : Json()}}},
      {"sections", sections},
      {"members", members},
      {"gaps", gaps},
      {"runs", next},
      {"problem_clips", coverage.problem_clips},
      {"in_doubt", in_doubt},
      {"complete", coverage.complete()}};
}

}  // namespace everytake::coverage
