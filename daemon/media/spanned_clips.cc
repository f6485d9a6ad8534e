#include "media/spanned_clips.h"

#include <algorithm>
#include <charconv>
#include <cstdlib>
#include <string_view>

#include "media/container/timecode.h"

namespace everytake::media {
namespace {

// FAT32 ends a file at 4 GiB − 1; AVCHD cameras near 2 GB. They stop at the last whole group of pictures before. Where
// a camera ends a chapter is its own affair.
constexpr std::uint64_t kMiB = 1 << 20, kFat32 = 4096 * kMiB, kAvchd = 2048 * kMiB, kGroupOfPictures = 128 * kMiB;
constexpr double kTouch = 2;  // s

bool near_a_limit(std::uint64_t size) {
  const auto below = [size](std::uint64_t limit) { return size < limit && limit - size <= kGroupOfPictures; };
  return below(kFat32) || below(kAvchd);
}

// A name taken apart: "C" and 1 of "C0001", as long as it was.
struct Numbered {
  std::string_view prefix;
  int number = 0;
};
std::optional<Numbered> numbered(std::string_view name) {
  constexpr std::size_t kMostDigits = 8;
  std::size_t digits = 0;
  while (digits < name.size() && digits < kMostDigits && name[name.size() - 1 - digits] >= '0' &&
         name[name.size() - 1 - digits] <= '9')
    ++digits;
  if (digits == 0) return std::nullopt;
  Numbered found{name.substr(0, name.size() - digits)};
  std::from_chars(name.data() + found.prefix.size(), name.data() + name.size(), found.number);
  return found;
}

// "GX010034" is followed by "GX020034": two letters, two digits of the chapter, four of the recording.
bool is_next_chapter(std::string_view first, std::string_view next) {
  constexpr std::size_t kSize = 8, kChapterEnds = 4;
  if (first.size() != kSize || next.size() != kSize || first.substr(kChapterEnds) != next.substr(kChapterEnds))
    return false;
  const auto a = numbered(first.substr(0, kChapterEnds)), b = numbered(next.substr(0, kChapterEnds));
  return a && b && a->prefix.size() == 2 && a->prefix == b->prefix && b->number == a->number + 1;
}

bool is_next_number(std::string_view first, std::string_view next) {
  const auto a = numbered(first), b = numbered(next);
  return a && b && first.size() == next.size() && a->prefix == b->prefix && b->number == a->number + 1;
}

template <class T>
bool both(const std::optional<T>& a, const std::optional<T>& b) {
  return a && b && *a == *b;
}

bool are_alike(const ClipFacts& a, const ClipFacts& b) {
  return both(a.camera, b.camera) && both(a.codec, b.codec) && both(a.bit_depth, b.bit_depth) &&
         both(a.width, b.width) && both(a.height, b.height) && both(a.frame_rate, b.frame_rate);
}

bool timecode_continues(const ClipFacts& first, const ClipFacts& next) {
  if (!first.timecode || !next.timecode || !first.frames || !first.frame_rate) return false;
  const auto rate = *first.frame_rate;
  const auto a = parse_timecode(*first.timecode, rate), b = parse_timecode(*next.timecode, rate);
  if (!a || !b || a->drop != b->drop) return false;
  return (frame_count(*a, rate) + *first.frames) % frames_a_day(rate, a->drop) == frame_count(*b, rate);
}

bool clocks_touch(const Clip& first, const Clip& next) {
  const auto& began = first.facts.recorded_at;
  if (!began || !next.facts.recorded_at || !first.facts.duration) return false;
  const double lasted = seconds(*first.facts.duration) / stored_slow(first).value_or(1);
  return std::abs(seconds(*next.facts.recorded_at - *began) - lasted) <= kTouch;
}

template <class Test>
std::optional<Clip> first_that(std::span<const Clip> clips, Test test) {
  const auto found = std::find_if(clips.begin(), clips.end(), test);
  return found == clips.end() ? std::nullopt : std::optional(*found);
}

}  // namespace

bool continues(const Clip& first, const Clip& next) {
  const bool named =
      is_next_chapter(first.name, next.name) || (is_next_number(first.name, next.name) && near_a_limit(first.size));
  return named && first.roll == next.roll && first.path.parent_path() == next.path.parent_path() &&
         are_alike(first.facts, next.facts) && timecode_continues(first.facts, next.facts) && clocks_touch(first, next);
}

std::optional<Clip> next_of(const Clip& clip, std::span<const Clip> clips) {
  return first_that(clips, [&](const Clip& each) { return continues(clip, each); });
}

std::optional<Clip> previous_of(const Clip& clip, std::span<const Clip> clips) {
  return first_that(clips, [&](const Clip& each) { return continues(each, clip); });
}

}  // namespace everytake::media
