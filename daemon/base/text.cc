#include "base/text.h"

#include <fmt/chrono.h>
#include <fmt/format.h>
#include <utf8proc.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdlib>
#include <memory>
#include <numeric>
#include <vector>

namespace everytake {
namespace {

constexpr std::string_view kEllipsis = "…";

// One code point off the front of `text`; how many bytes it took is `length`, at least 1. Negative where it is no
// UTF-8.
utf8proc_int32_t next_code_point(std::string_view text, std::size_t& length) {
  utf8proc_int32_t point = -1;
  const auto taken = utf8proc_iterate(reinterpret_cast<const utf8proc_uint8_t*>(text.data()),
                                      static_cast<utf8proc_ssize_t>(text.size()), &point);
  length = taken > 0 ? static_cast<std::size_t>(taken) : 1;
  return taken > 0 ? point : -1;
}

// Cc: control characters. Cf: format characters, the bidirectional controls among them. Zl, Zp: line separators. One
// amid the bidirectional controls is not assigned yet.
bool printable(utf8proc_int32_t point) {
  if (point == 0x2065) return false;
  const auto category = utf8proc_category(point);
  return category != UTF8PROC_CATEGORY_CC && category != UTF8PROC_CATEGORY_CF && category != UTF8PROC_CATEGORY_ZL &&
         category != UTF8PROC_CATEGORY_ZP && category != UTF8PROC_CATEGORY_CS;
}

template <class T>
std::optional<T> parse_number(std::string_view text) {
  T value{};
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (text.empty() || error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

// "ss[.fff]" with digits only.
std::optional<Micros> parse_seconds(std::string_view text) {
  if (text.empty() || text.find_first_not_of("0123456789.") != std::string_view::npos) return std::nullopt;
  const auto value = parse_number<double>(text);
  if (!value || *value > 86400) return std::nullopt;
  return from_seconds(*value);
}

std::optional<int> parse_digits(std::string_view text, std::size_t width) {
  if (text.size() != width || text.find_first_not_of("0123456789") != std::string_view::npos) return std::nullopt;
  return parse_number<int>(text);
}

}  // namespace

std::string shown(std::string_view bytes) {
  std::string out;
  while (!bytes.empty()) {
    std::size_t length = 0;
    const auto point = next_code_point(bytes, length);
    const auto piece = bytes.substr(0, length);
    if (point >= 0 && printable(point))
      out += piece;
    else
      for (const char c : piece) out += fmt::format("\\x{:02x}", static_cast<unsigned char>(c));
    bytes.remove_prefix(length);
  }
  return out;
}

std::string escaped_json(std::string_view json) {
  std::string out;
  out.reserve(json.size());
  while (!json.empty()) {
    std::size_t length = 0;
    const auto point = next_code_point(json, length);
    if (point < 0 || printable(point))
      out += json.substr(0, length);
    else if (point < 0x10000)
      out += fmt::format("\\u{:04x}", point);
    else  // a pair of surrogates
      out += fmt::format("\\u{:04x}\\u{:04x}", 0xd800 + ((point - 0x10000) >> 10), 0xdc00 + (point & 0x3ff));
    json.remove_prefix(length);
  }
  return out;
}

std::string folded(std::string_view name) {
  const auto plain = [](char c) { return static_cast<unsigned char>(c) < 0x80; };
  if (std::ranges::all_of(name, plain) || !is_utf8(name)) return lower_case(name);
  utf8proc_uint8_t* out = nullptr;
  const auto length =
      utf8proc_map(reinterpret_cast<const utf8proc_uint8_t*>(name.data()), static_cast<utf8proc_ssize_t>(name.size()),
                   &out, static_cast<utf8proc_option_t>(UTF8PROC_STABLE | UTF8PROC_COMPOSE | UTF8PROC_CASEFOLD));
  const std::unique_ptr<utf8proc_uint8_t, decltype(&std::free)> held(out, &std::free);
  if (length < 0) return lower_case(name);
  return {reinterpret_cast<const char*>(out), static_cast<std::size_t>(length)};
}

std::string percent_encoded(std::string_view bytes) {
  std::string out;
  for (const char c : bytes) {
    const bool stays = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
                       std::string_view("-._~/").find(c) != std::string_view::npos;
    if (stays)
      out += c;
    else
      out += fmt::format("%{:02X}", static_cast<unsigned char>(c));
  }
  return out;
}

std::optional<std::string> percent_decoded(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '%') {
      out += text[i];
      continue;
    }
    unsigned byte = 0;
    const auto* digits = text.data() + i + 1;
    if (text.size() - i < 3 || std::from_chars(digits, digits + 2, byte, 16).ptr != digits + 2) return std::nullopt;
    out += static_cast<char>(byte);
    i += 2;
  }
  return percent_encoded(out) == text ? std::optional(out) : std::nullopt;
}

bool is_utf8(std::string_view bytes) {
  while (!bytes.empty()) {
    std::size_t length = 0;
    if (next_code_point(bytes, length) < 0) return false;
    bytes.remove_prefix(length);
  }
  return true;
}

std::string base64(std::string_view bytes) {
  constexpr std::string_view kAlphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string out;
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const std::size_t count = std::min<std::size_t>(3, bytes.size() - i);
    std::uint32_t group = 0;
    for (std::size_t k = 0; k < 3; ++k)
      group = group << 8 | (k < count ? static_cast<unsigned char>(bytes[i + k]) : 0U);
    for (std::size_t k = 0; k < 4; ++k) out += k <= count ? kAlphabet[group >> (18 - 6 * k) & 63U] : '=';
  }
  return out;
}

std::string lower_hex(std::string_view bytes) {
  std::string out;
  for (const char c : bytes) out += fmt::format("{:02x}", static_cast<unsigned char>(c));
  return out;
}

int display_width(std::string_view text) {
  int width = 0;
  while (!text.empty()) {
    std::size_t length = 0;
    const auto point = next_code_point(text, length);
    width += point < 0 ? 1 : utf8proc_charwidth(point);
    text.remove_prefix(length);
  }
  return width;
}

std::string fit(std::string_view text, int columns) {
  const int width = display_width(text);
  if (width <= columns) return std::string(text) + std::string(static_cast<std::size_t>(columns - width), ' ');
  std::string out;
  int used = 0;
  while (!text.empty()) {
    std::size_t length = 0;
    next_code_point(text, length);
    const int next = display_width(text.substr(0, length));
    if (used + next > columns - 1) break;
    out += text.substr(0, length);
    used += next;
    text.remove_prefix(length);
  }
  out += kEllipsis;
  return out + std::string(static_cast<std::size_t>(std::max(0, columns - used - 1)), ' ');
}

std::string counted(std::size_t count, std::string_view noun) {
  return fmt::format("{} {}{}", count, noun, count == 1 ? "" : "s");
}

std::string bytes_text(std::uint64_t bytes) {
  constexpr std::string_view kUnits[] = {"B", "kB", "MB", "GB", "TB"};
  if (bytes < 1000) return fmt::format("{} B", bytes);
  double value = static_cast<double>(bytes);
  std::size_t unit = 0;
  while (value >= 999.5 && unit + 1 < std::size(kUnits)) {
    value /= 1000;
    ++unit;
  }
  const int decimals = value < 9.995 ? 2 : value < 99.95 ? 1 : 0;
  return fmt::format("{:.{}f} {}", value, decimals, kUnits[unit]);
}

std::string song_time(Micros t) {
  const auto millis = std::chrono::round<std::chrono::milliseconds>(std::chrono::abs(t)).count();
  const auto h = millis / 3'600'000, m = millis / 60'000 % 60, s = millis / 1000 % 60, ms = millis % 1000;
  const char* sign = t < Micros::zero() && millis > 0 ? "-" : "";
  return h > 0 ? fmt::format("{}{}:{:02}:{:02}.{:03}", sign, h, m, s, ms)
               : fmt::format("{}{}:{:02}.{:03}", sign, m, s, ms);
}

std::string length_text(Micros t) {
  const double s = seconds(t);
  if (s < 59.95) return fmt::format("{:.1f} s", s);
  const auto whole = std::llround(s);
  if (whole < 3600) return fmt::format("{} min {:02} s", whole / 60, whole % 60);
  return fmt::format("{} h {:02} min", whole / 3600, whole / 60 % 60);
}

std::string iso8601(Instant t) {
  return fmt::format("{:%Y-%m-%dT%H:%M:%SZ}",
                     fmt::gmtime(std::chrono::system_clock::to_time_t(std::chrono::floor<std::chrono::seconds>(t))));
}

std::string local_time(Instant t) {
  return fmt::format("{:%Y-%m-%d %H:%M:%S}",
                     fmt::localtime(std::chrono::system_clock::to_time_t(std::chrono::floor<std::chrono::seconds>(t))));
}

std::optional<Micros> parse_song_time(std::string_view text) {
  const auto colon = text.rfind(':');
  if (colon == std::string_view::npos) return parse_seconds(text);
  const auto tail = text.substr(colon + 1);
  const auto head = text.substr(0, colon);
  if (parse_digits(tail.substr(0, tail.find('.')), 2).value_or(60) > 59) return std::nullopt;
  const auto rest = parse_seconds(tail);
  std::optional<int> hours = 0, minutes;
  if (const auto first = head.find(':'); first != std::string_view::npos) {
    hours = parse_digits(head.substr(0, first), first);
    minutes = parse_digits(head.substr(first + 1), 2);
    if (minutes && *minutes > 59) return std::nullopt;
  } else {
    minutes = parse_digits(head, head.size());
  }
  if (!rest || !hours || !minutes || *hours > 23 || *minutes > 1439) return std::nullopt;
  return *rest + std::chrono::hours(*hours) + std::chrono::minutes(*minutes);
}

std::optional<Instant> parse_iso8601(std::string_view text) {
  using namespace std::chrono;
  if (text.size() < 20 || text[4] != '-' || text[7] != '-' || (text[10] != 'T' && text[10] != ' ') || text[13] != ':' ||
      text[16] != ':')
    return std::nullopt;
  const auto y = parse_digits(text.substr(0, 4), 4), mo = parse_digits(text.substr(5, 2), 2),
             d = parse_digits(text.substr(8, 2), 2), h = parse_digits(text.substr(11, 2), 2),
             mi = parse_digits(text.substr(14, 2), 2), s = parse_digits(text.substr(17, 2), 2);
  if (!y || !mo || !d || !h || !mi || !s || *h > 23 || *mi > 59 || *s > 60) return std::nullopt;
  const year_month_day date{year(*y), month(static_cast<unsigned>(*mo)), day(static_cast<unsigned>(*d))};
  if (!date.ok()) return std::nullopt;
  auto zone = text.substr(19);
  Micros fraction{};
  if (zone.starts_with('.')) {
    const auto end = zone.find_first_not_of("0123456789", 1);
    const auto value = parse_number<double>(zone.substr(0, end));
    if (!value || end == std::string_view::npos) return std::nullopt;
    fraction = from_seconds(*value);
    zone = zone.substr(end);
  }
  minutes offset{};
  if (zone != "Z") {
    if (zone.size() < 5 || (zone[0] != '+' && zone[0] != '-')) return std::nullopt;
    const auto oh = parse_digits(zone.substr(1, 2), 2);
    const auto om = parse_digits(zone.substr(zone.size() - 2), 2);
    const bool colon = zone.size() == 6 && zone[3] == ':';
    if (!oh || !om || *oh > 14 || *om > 59 || (zone.size() != 5 && !colon)) return std::nullopt;
    offset = (zone[0] == '-' ? -1 : 1) * (hours(*oh) + minutes(*om));
  }
  return sys_days(date) + hours(*h) + minutes(*mi) + std::chrono::seconds(*s) + fraction - offset;
}

std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t above = row[j];
      row[j] = std::min({above + 1, row[j - 1] + 1, diagonal + (a[i - 1] == b[j - 1] ? 0 : 1)});
      diagonal = above;
    }
  }
  return row[b.size()];
}

std::optional<std::string> nearest(std::string_view word, std::span<const std::string> candidates) {
  std::optional<std::string> best;
  std::size_t least = std::max<std::size_t>(word.size() < 4 ? 1 : 2, word.size() / 3) + 1;
  for (const auto& candidate : candidates)
    if (const auto distance = edit_distance(word, candidate); distance < least) {
      least = distance;
      best = candidate;
    }
  return best;
}

std::string joined(const std::vector<std::string>& words) {
  std::string text;
  for (const auto& word : words) text += (text.empty() ? "" : ", ") + word;
  return text;
}

std::string quoted(const std::vector<std::string>& names) {
  std::string text;
  for (std::size_t i = 0; i < names.size(); ++i)
    text += (i == 0 ? "" : i + 1 == names.size() ? " and " : ", ") + fmt::format("\"{}\"", shown(names[i]));
  return text;
}

std::string lower_case(std::string_view text) {
  std::string lower(text);
  for (auto& c : lower)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return lower;
}

}  // namespace everytake
