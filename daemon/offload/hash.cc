#include "offload/hash.h"

#include <nettle/sha2.h>
#include <xxhash.h>

#include <algorithm>
#include <array>
#include <new>

#include "base/text.h"
#include "offload/blocks.h"

namespace everytake::offload {
namespace {

// Each thread that reads files has one block for it.
std::span<std::byte> scratch(std::uint64_t file_size) {
  thread_local OwnBlock block;
  return block.for_file(file_size);
}

// Hands `sink` every byte of the file in order.
template <class Sink>
Result<std::uint64_t> read_through(ReadFile& file, std::stop_token stop, Sink sink) {
  const auto buffer = scratch(TRY(file.stat()).size);
  std::uint64_t offset = 0;
  for (;;) {
    if (stop.stop_requested()) return fail(Code::cancelled, "stopped while reading");
    const std::size_t count = TRY(file.read(buffer, offset));
    sink(buffer.first(count));
    offset += count;
    if (count < buffer.size()) return offset;
  }
}

}  // namespace

struct Hasher::State {
  std::unique_ptr<XXH3_state_t, decltype(&XXH3_freeState)> xxh3{XXH3_createState(), &XXH3_freeState};
};

Hasher::Hasher() : state_(std::make_unique<State>()) {
  if (!state_->xxh3) throw std::bad_alloc();
  XXH3_128bits_reset(state_->xxh3.get());
}
Hasher::~Hasher() = default;

void Hasher::update(std::span<const std::byte> bytes) {
  XXH3_128bits_update(state_->xxh3.get(), bytes.data(), bytes.size());
}

Digest Hasher::digest() const {
  XXH128_canonical_t canonical;
  XXH128_canonicalFromHash(&canonical, XXH3_128bits_digest(state_->xxh3.get()));
  Digest digest;
  std::copy(std::begin(canonical.digest), std::end(canonical.digest), digest.bytes.begin());
  return digest;
}

Result<Reading> hash_file(const ReadFs& fs, const Path& path, Cache cache, std::stop_token stop,
                          const std::function<void()>& between) {
  const auto file = TRY(fs.open(path, cache));
  const auto before = TRY(file->stat());
  Hasher hasher;
  const auto bytes = TRY(read_through(*file, stop, [&](auto piece) {
    hasher.update(piece);
    if (between && piece.size() == kBlockSize) between();
  }));
  const auto after = TRY(file->stat());
  if (before.size != after.size || before.mtime != after.mtime || before.ctime != after.ctime)
    return fail(Code::corrupt, shown(path.string()) + " changed while it was read");
  return Reading{hasher.digest(), bytes, file->evidence(), after};
}

Result<Digest> sample_of(const ReadFs& fs, const CardFile& file) {
  const auto open = TRY(fs.open(file.path, Cache::avoid));
  const auto buffer = scratch(2 * Sampler::kEnd);
  Sampler sampler(file.size);
  const auto add = [&](std::uint64_t offset) -> Result<void> {
    const auto piece = buffer.first(Sampler::kEnd + kBlockAlign);
    sampler.update(piece.first(TRY(open->read(piece, offset))), offset);
    return {};
  };
  TRY(add(0));
  // From a block's edge on, so that a direct read can give it.
  if (file.size > Sampler::kEnd + kBlockAlign) TRY(add(sampler.tail() / kBlockAlign * kBlockAlign));
  return sampler.digest();
}

Result<Evidence> read_last_block(const ReadFs& fs, const Path& path, std::uint64_t size) {
  const auto file = TRY(fs.open(path, Cache::avoid));
  const auto at = (size - 1) / kBlockAlign * kBlockAlign;
  const auto count = TRY(file->read(scratch(kBlockAlign).first(kBlockAlign), at));
  if (count < size - at) return fail(Code::io, shown(path.string()) + " ends too early");
  return file->evidence();
}

void Sampler::update(std::span<const std::byte> bytes, std::uint64_t offset) {
  // The parts of [offset, offset + size) that lie in the head and in the tail, each byte once and in order.
  const std::uint64_t end = offset + bytes.size();
  for (const auto& [from, to] : {std::pair(std::uint64_t{0}, std::min(kEnd, size_)), std::pair(tail(), size_)}) {
    const auto begin = std::max({from, offset, next_});
    const auto stop = std::min(to, end);
    if (begin >= stop) continue;
    hasher_.update(bytes.subspan(begin - offset, stop - begin));
    next_ = stop;
  }
}

Result<std::string> sha256_file(const ReadFs& fs, const Path& path, std::stop_token stop) {
  const auto file = TRY(fs.open(path, Cache::use));
  sha256_ctx context;
  sha256_init(&context);
  TRY(read_through(*file, stop, [&](std::span<std::byte> piece) {
    sha256_update(&context, piece.size(), reinterpret_cast<const std::uint8_t*>(piece.data()));
  }));
  std::array<std::uint8_t, SHA256_DIGEST_SIZE> digest{};
  sha256_digest(&context, digest.size(), digest.data());
  return lower_hex({reinterpret_cast<const char*>(digest.data()), digest.size()});
}

}  // namespace everytake::offload
