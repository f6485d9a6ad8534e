#include "base/rational.h"

#include <fmt/format.h>

#include <charconv>
#include <cmath>
#include <numeric>

namespace everytake {
namespace {

__extension__ using Wide = __int128;

std::optional<std::int64_t> parse_whole(std::string_view text) {
  std::int64_t value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

bool near(double a, double b) {
  return std::abs(a - b) <= 0.0002 * b;
}

std::optional<Rational> from_decimal(double rate) {
  // Cameras round 23.976… to 23.98 and 7.4925 to 7.49: two decimals are all some of them write.
  const auto matches = [rate](double exact) { return near(rate, exact) || std::abs(rate - exact) < 0.0051; };
  const double whole = std::round(rate);
  if (whole >= 1 && rate == whole) return Rational(static_cast<std::int64_t>(whole), 1);
  for (const std::int64_t scale : {1, 2}) {  // 7500/1001 is half of 15000/1001
    const double k = std::round(rate * 1.001 * static_cast<double>(scale));
    if (k >= 1 && matches(k * 1000.0 / 1001.0 / static_cast<double>(scale)))
      return Rational(static_cast<std::int64_t>(k) * 1000, 1001 * scale);
  }
  if (whole >= 1 && near(rate, whole)) return Rational(static_cast<std::int64_t>(whole), 1);
  return std::nullopt;
}

}  // namespace

Rational::Rational(std::int64_t num, std::int64_t den) {
  const std::int64_t divisor = std::gcd(num, den);
  const std::int64_t sign = den < 0 ? -1 : 1;
  num_ = sign * num / divisor;
  den_ = sign * den / divisor;
}

bool operator<(Rational a, Rational b) {
  return Wide{a.num()} * b.den() < Wide{b.num()} * a.den();
}

Rational operator*(Rational a, Rational b) {
  const Rational x(a.num(), b.den());
  const Rational y(b.num(), a.den());
  return Rational(x.num() * y.num(), x.den() * y.den());
}

Rational operator/(Rational a, Rational b) {
  return a * Rational(b.den(), b.num());
}

std::string to_string(Rational r) {
  return std::to_string(r.num()) + "/" + std::to_string(r.den());
}

std::string rate_text(Rational rate) {
  return fmt::format("{:.5g}", rate.value());
}

std::optional<Rational> positive_fraction(std::int64_t num, std::int64_t den) {
  const auto fits = [](std::int64_t part) { return part > 0 && part <= INT32_MAX; };
  return fits(num) && fits(den) ? std::optional(Rational(num, den)) : std::nullopt;
}

std::optional<Rational> parse_rate(std::string_view text) {
  if (!text.empty() && (text.back() == 'p' || text.back() == 'i')) text.remove_suffix(1);
  if (const auto slash = text.find('/'); slash != std::string_view::npos) {
    const auto num = parse_whole(text.substr(0, slash));
    const auto den = parse_whole(text.substr(slash + 1));
    return num && den ? positive_fraction(*num, *den) : std::nullopt;
  }
  double rate = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), rate);
  if (error != std::errc{} || end != text.data() + text.size() || !std::isfinite(rate) || rate <= 0 || rate > 1e6)
    return std::nullopt;
  return from_decimal(rate);
}

}  // namespace everytake
