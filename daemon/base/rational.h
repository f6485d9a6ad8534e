// Exact fractions: frame rates and time bases. 24000/1001 and 24/1 are different rates and stay so.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace everytake {

// Always in lowest terms with a positive denominator.
class Rational {
 public:
  constexpr Rational() = default;
  Rational(std::int64_t num, std::int64_t den);  // den must not be 0

  std::int64_t num() const { return num_; }
  std::int64_t den() const { return den_; }
  double value() const { return static_cast<double>(num_) / static_cast<double>(den_); }

  bool operator==(const Rational&) const = default;

 private:
  std::int64_t num_ = 0;
  std::int64_t den_ = 1;
};

// Exact comparisons. No overflow: products are 128 bits wide.
bool operator<(Rational a, Rational b);
Rational operator*(Rational a, Rational b);
Rational operator/(Rational a, Rational b);  // b must not be 0

std::string to_string(Rational r);     // "24000/1001"
std::string rate_text(Rational rate);  // "23.976", for people

// What a file or a person says: nullopt where a part is 0, negative or past 2^31, so that no two products overflow.
std::optional<Rational> positive_fraction(std::int64_t num, std::int64_t den);

// A rate as people and cameras write it: "24000/1001", "25", "23.976", "23.98p", "59.94i", "119.88p".
// A decimal within 0.02 % of k*1000/1001 for a whole k means that; else it must be within 0.02 % of a whole number.
// nullopt for anything else, and for what is no positive_fraction().
std::optional<Rational> parse_rate(std::string_view text);

}  // namespace everytake
