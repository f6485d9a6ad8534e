#include "media/container/timecode.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>

namespace everytake::media {
namespace {

// Labels left out at the start of a minute (but each tenth): 2 of 30, 4 of 60.
int dropped_a_minute(int base) {
  return base / 15;
}

std::optional<int> number(std::string_view text) {
  int value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  const bool digits = !text.empty() && text.find_first_not_of("0123456789") == std::string_view::npos;
  if (!digits || error != std::errc{}) return std::nullopt;
  return value;
}

// Drop-frame exists where 30, 60, 90 … are counted at a rate a thousandth below.
bool may_drop(Rational rate) {
  const int base = counting_base(rate);
  return base > 0 && base % 30 == 0 && rate == Rational(std::int64_t{base} * 1000, 1001);
}

bool exists(const Timecode& label, Rational rate) {
  const int base = counting_base(rate);
  const bool in_range = label.hours >= 0 && label.hours < 24 && label.minutes >= 0 && label.minutes < 60 &&
                        label.seconds >= 0 && label.seconds < 60 && label.frames >= 0 && label.frames < base;
  if (!in_range) return false;
  if (!label.drop) return true;
  const bool left_out = label.minutes % 10 != 0 && label.seconds == 0 && label.frames < dropped_a_minute(base);
  return may_drop(rate) && !left_out;
}

// Two binary-coded decimal digits; `tens` masks the bits of the upper one.
std::optional<int> from_bcd(std::uint32_t byte, std::uint32_t tens) {
  const int units = static_cast<int>(byte & 0xF);
  if (units > 9) return std::nullopt;
  return static_cast<int>(byte >> 4 & tens) * 10 + units;
}

std::uint32_t to_bcd(int value) {
  return static_cast<std::uint32_t>(value / 10 << 4 | value % 10);
}

constexpr std::uint32_t kDropFlag = 0x4000'0000;
// ST 12-1: the polarity and flag bits change places between 25 frames and the others.
std::uint32_t half_flag(int base) {
  return base == 25 ? 0x0000'0080 : 0x0080'0000;
}

}  // namespace

int counting_base(Rational rate) {
  return static_cast<int>((rate.num() + rate.den() - 1) / rate.den());
}

std::optional<Timecode> parse_timecode(std::string_view text, Rational rate) {
  if (text.size() < 11 || text.size() > 12 || text[2] != ':' || text[5] != ':') return std::nullopt;
  if (std::string_view(":;,.").find(text[8]) == std::string_view::npos) return std::nullopt;
  const auto hours = number(text.substr(0, 2)), minutes = number(text.substr(3, 2)),
             seconds = number(text.substr(6, 2)), frames = number(text.substr(9));
  if (!hours || !minutes || !seconds || !frames) return std::nullopt;
  const Timecode label{*hours, *minutes, *seconds, *frames, text[8] != ':'};
  if (!exists(label, rate)) return std::nullopt;
  return label;
}

std::string to_string(const Timecode& label, Rational rate) {
  return fmt::format("{:02}:{:02}:{:02}{}{:0{}}", label.hours, label.minutes, label.seconds, label.drop ? ';' : ':',
                     label.frames, counting_base(rate) > 100 ? 3 : 2);
}

std::int64_t frames_a_day(Rational rate, bool drop) {
  const int base = counting_base(rate);
  constexpr std::int64_t kMinutes = 24 * 60;
  return kMinutes * 60 * base - (drop ? dropped_a_minute(base) * (kMinutes - kMinutes / 10) : 0);
}

std::int64_t frame_count(const Timecode& label, Rational rate) {
  const std::int64_t base = counting_base(rate);
  const std::int64_t minutes = std::int64_t{60} * label.hours + label.minutes;
  const std::int64_t labels = base * (60 * minutes + label.seconds) + label.frames;
  return label.drop ? labels - dropped_a_minute(static_cast<int>(base)) * (minutes - minutes / 10) : labels;
}

Timecode label_of(std::int64_t frame, Rational rate, bool drop) {
  const int base = counting_base(rate);
  const std::int64_t day = frames_a_day(rate, drop);
  std::int64_t n = ((frame % day) + day) % day;
  if (drop) {
    const std::int64_t dropped = dropped_a_minute(base);
    const std::int64_t minute = 60 * base - dropped;
    const std::int64_t ten = 10 * minute + dropped;  // the tenth minute keeps its labels
    const std::int64_t rest = n % ten;
    n += 9 * dropped * (n / ten);
    if (rest >= dropped) n += dropped * ((rest - dropped) / minute);
  }
  const auto whole = n / base;
  return {static_cast<int>(whole / 3600), static_cast<int>(whole / 60 % 60), static_cast<int>(whole % 60),
          static_cast<int>(n % base), drop};
}

std::optional<LtcTime> parse_ltc(std::string_view digits, int base) {
  std::uint32_t word = 0;
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), word, 16);
  if (digits.size() != 8 || error != std::errc{} || end != digits.data() + digits.size()) return std::nullopt;
  const auto frames = from_bcd(word >> 24, 3), seconds = from_bcd(word >> 16, 7), minutes = from_bcd(word >> 8, 7),
             hours = from_bcd(word, 3);
  if (!frames || !seconds || !minutes || !hours) return std::nullopt;
  const Timecode label{*hours, *minutes, *seconds, *frames, (word & kDropFlag) != 0};
  const Rational rate = label.drop ? Rational(base * 1000, 1001) : Rational(base, 1);
  if (!exists(label, rate)) return std::nullopt;
  return LtcTime{label, (word & half_flag(base)) != 0};
}

std::uint32_t ltc_word(const LtcTime& time, int base) {
  const auto& label = time.label;
  return to_bcd(label.frames) << 24 | to_bcd(label.seconds) << 16 | to_bcd(label.minutes) << 8 | to_bcd(label.hours) |
         (label.drop ? kDropFlag : 0) | (time.second_half ? half_flag(base) : 0);
}

Timecode at_file_rate(const LtcTime& time, int base, Rational rate) {
  const int frames_each = std::max(1, counting_base(rate) / std::max(1, base));
  Timecode label = time.label;
  label.frames = label.frames * frames_each + (time.second_half ? frames_each / 2 : 0);
  return label;
}

}  // namespace everytake::media
