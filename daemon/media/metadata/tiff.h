// The directories of a TIFF file (TIFF 6.0), which is what Exif and camera makers' notes are made of.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "base/rational.h"

namespace everytake::media {

class Tiff {
 public:
  // `bytes` from the byte-order mark on; they must outlive it. nullopt where there is none.
  static std::optional<Tiff> open(std::string_view bytes);

  // Directories without that header: the first begins at once, and places count from it.
  static Tiff bare_little_endian(std::string_view bytes) { return Tiff(bytes, true, 0); }

  // Bytes of one value of that type; 0 for a type that there is not.
  static std::size_t size_of_type(int type);

  struct Entry {
    int type = 0;
    std::uint32_t count = 0;
    std::string_view value;   // its bytes, in the file's order
    std::uint32_t where = 0;  // of them
  };
  // An entry of the directory at `directory`. nullopt where it is not there or does not fit into the file.
  std::optional<Entry> find(std::uint32_t directory, int tag) const;
  std::uint32_t first_directory() const { return first_; }
  // The n-th number of an entry of 1-, 2- or 4-byte integers.
  std::optional<std::int64_t> number(const Entry& entry, std::uint32_t n = 0) const;
  // The first of an entry of fractions. nullopt where it is none, or no positive_fraction().
  std::optional<Rational> fraction(const Entry& entry) const;

 private:
  Tiff(std::string_view bytes, bool little, std::uint32_t first) : bytes_(bytes), little_(little), first_(first) {}
  std::uint32_t integer(std::size_t at, std::size_t length) const;

  std::string_view bytes_;
  bool little_;
  std::uint32_t first_;
};

}  // namespace everytake::media
