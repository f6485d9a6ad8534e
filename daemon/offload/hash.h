// XXH3-128, as xxHash defines it and `xxhsum -H2` prints it; and SHA-256 (FIPS 180-4) for the names xxhsum can't take.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <span>
#include <stop_token>
#include <string>

#include "digest.h"
#include "model.h"
#include "os/fs.h"

namespace everytake::offload {

class Hasher {
 public:
  Hasher();
  ~Hasher();
  void update(std::span<const std::byte> bytes);
  Digest digest() const;

 private:
  struct State;
  const std::unique_ptr<State> state_;
};

// What came out of reading a whole file.
struct Reading {
  Digest digest;
  std::uint64_t bytes = 0;
  Evidence evidence = Evidence::cached;
  FileStat stat;  // of what was read: the same before and after
};

// Whether an error of reading one of a card's files ends the card, and not only that file.
inline bool ends_card(const Error& error) {
  return error.code == Code::gone || error.code == Code::cancelled;
}

// Reads a file to its end, and calls `between` between its blocks. `cancelled` when asked to stop, `corrupt` where the
// file was changed meanwhile.
Result<Reading> hash_file(const ReadFs& fs, const Path& path, Cache cache, std::stop_token stop,
                          const std::function<void()>& between = {});

// The digest of a file's first and last MiB, or of all of it where it is shorter: enough to tell two recordings apart.
class Sampler {
 public:
  static constexpr std::uint64_t kEnd = std::uint64_t{1} << 20;
  explicit Sampler(std::uint64_t file_size) : size_(file_size) {}
  // Any part of the file, in order of offsets; what lies in neither end is passed over.
  void update(std::span<const std::byte> bytes, std::uint64_t offset);
  Digest digest() const { return hasher_.digest(); }
  std::uint64_t tail() const { return size_ > kEnd ? size_ - kEnd : 0; }  // where the last MiB starts

 private:
  const std::uint64_t size_;
  std::uint64_t next_ = 0;  // the first byte not taken yet
  Hasher hasher_;
};

// The same, read from the medium.
Result<Digest> sample_of(const ReadFs& fs, const CardFile& file);

// Reads the last block of a file of `size` bytes (at least one) past the cache: whether its disk answers. `io` where it
// ends earlier.
Result<Evidence> read_last_block(const ReadFs& fs, const Path& path, std::uint64_t size);

// SHA-256 of a whole file as 64 lower-case digits.
Result<std::string> sha256_file(const ReadFs& fs, const Path& path, std::stop_token stop);

}  // namespace everytake::offload
