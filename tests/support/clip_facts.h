// Facts of a clip for tests, by the list of them: what is added to it is tried as well.
#pragma once

#include <gtest/gtest.h>

#include <boost/pfr.hpp>
#include <concepts>
#include <string>

#include "clip_fields.h"

namespace everytake::test {

// A member that stands in no list would be lost on the way, without a word.
template <class T>
constexpr bool is_listed_whole =
    std::tuple_size_v<std::remove_const_t<decltype(kFields<T>)>> == boost::pfr::tuple_size_v<T>;
static_assert(is_listed_whole<ClipFacts> && is_listed_whole<SoundLevels>);
static_assert(is_listed_whole<FramesSeen> && is_listed_whole<Problem>);

// A value of its own for the n-th fact, of every type there is.
struct KnownFact {
  int n;
  std::string name;

  bool of(bool) const { return n % 2 == 0; }
  std::string of(const std::string&) const { return name + " é"; }
  Micros of(Micros) const { return Micros(1'000'001 * n); }
  Instant of(Instant) const { return Instant(std::chrono::days(20'000) + Micros(n)); }
  Rational of(Rational) const { return {1000 + n, 1001}; }
  SoundLevels of(const SoundLevels&) const { return {1'185'185, -12.25, 0.0625}; }
  FramesSeen of(const FramesSeen&) const { return {5, 1}; }
  template <std::integral T>
  T of(const T&) const {
    return static_cast<T>(100 + n);
  }
  template <class T>
  std::optional<T> of(const std::optional<T>&) const {
    return of(T{});
  }
  std::vector<Problem> of(const std::vector<Problem>&) const {
    return {{ProblemCode::timecode_invalid, "CLIP/C0001.MP4", "desk", "the timecode jumps"},
            {ProblemCode::truncated, "", "", "the end is missing"}};
  }
  std::map<std::string, std::string> of(const std::map<std::string, std::string>&) const {
    return {{"gamma", "sidecar"}, {"camera", "caf\xc3\xa9 \"x\""}};
  }
};

inline ClipFacts every_fact() {
  ClipFacts facts;
  int n = 0;
  for_each_field(facts, [&](const auto& field, auto& value) { value = KnownFact{++n, field.name}.of(value); });
  return facts;
}

inline void expect_same(const ClipFacts& facts, const ClipFacts& others) {
  for_each_field(facts,
                 [&](const auto& field, const auto& value) { EXPECT_EQ(value, others.*(field.member)) << field.name; });
}

}  // namespace everytake::test
