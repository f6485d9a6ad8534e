#include "align/coarse.h"

#include <algorithm>
#include <cmath>

namespace everytake::align {
namespace {

constexpr int kBlock = 4 * kFramesPerSecond;
constexpr float kDull = 1.2F;    // deviations a block must exceed to be worth having in a run
constexpr float kMostOfOne = 9;  // deviations: no block alone decides
constexpr int kApart = kFramesPerSecond / 5;
constexpr int kShortest = kFramesPerSecond;  // of a block, in frames
static_assert(kBlock * 3 / 2 <= SongIndex::kLongestBlock);

struct Run {
  float now = 0, best = 0;
  float sum = 0, best_sum = 0;
  int begin = 0, best_begin = 0, best_end = 0;  // blocks

  void add(float z, int block) {
    if (now <= 0) {
      now = sum = 0;
      begin = block;
    }
    now += z - kDull;
    sum += z;
    if (now > best) {
      best = now;
      best_sum = sum;
      best_begin = begin;
      best_end = block + 1;
    }
  }
  void none() { now = sum = 0; }
};

// To deviations: by the song's own energy there, and by how the block goes with the rest of the song.
void standardise(const SongIndex& song, int count, std::vector<float>& values) {
  const double usual = song.energy(0, song.features().frames) / std::max(1, song.features().frames) * count;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const int at = static_cast<int>(i) - count + 1;
    const double energy = std::max(song.energy(at, at + count), usual / 3);
    values[i] /= static_cast<float>(std::sqrt(energy) + 1e-9);
  }
  std::vector<float> sorted(values);
  const auto middle = sorted.begin() + static_cast<long>(sorted.size() / 2);
  std::nth_element(sorted.begin(), middle, sorted.end());
  const float median = *middle;
  for (float& v : sorted) v = std::abs(v - median);
  std::nth_element(sorted.begin(), middle, sorted.end());
  const float deviation = 1.4826F * *middle + 1e-9F;  // of a normal distribution
  for (float& v : values) v = std::min((v - median) / deviation, kMostOfOne);
}

struct Ranked {
  float weight;
  int offset;
};

}  // namespace

std::vector<float> correlate(const SongIndex& song, const Features& clip, int from, int count) {
  RealFft fft(SongIndex::kPiece);
  std::vector<Bin> block(kBands * SongIndex::kBins);
  for (int b = 0; b < kBands; ++b) {
    std::fill(fft.time().begin(), fft.time().end(), 0.0F);
    const auto band = clip.band(b).subspan(static_cast<std::size_t>(from), static_cast<std::size_t>(count));
    std::copy(band.begin(), band.end(), fft.time().begin());
    fft.forward();
    std::copy(fft.spectrum().begin(), fft.spectrum().end(), block.begin() + b * static_cast<long>(SongIndex::kBins));
  }
  const int last = song.features().frames - 1;
  std::vector<float> result(static_cast<std::size_t>(std::max(0, last + count)));
  for (int p = 0; p < song.pieces(); ++p) {
    const auto sum = fft.spectrum();
    std::fill(sum.begin(), sum.end(), Bin{});
    for (int b = 0; b < kBands; ++b) {
      const auto theirs = song.piece(p, b);
      const Bin* ours = block.data() + static_cast<std::size_t>(b) * SongIndex::kBins;
      for (std::size_t k = 0; k < SongIndex::kBins; ++k) {
        const Bin product = against(ours[k], theirs[k]);
        sum[k] = {sum[k].real() + product.real(), sum[k].imag() + product.imag()};
      }
    }
    fft.inverse();
    for (int i = 0; i < SongIndex::kStep; ++i) {
      const int at = p * SongIndex::kStep - SongIndex::kBefore + i;
      if (at < -count + 1 || at > last) continue;
      result[static_cast<std::size_t>(at + count - 1)] = fft.time()[static_cast<std::size_t>(i)] / SongIndex::kPiece;
    }
  }
  return result;
}

std::vector<CoarsePlace> coarse_places(const SongIndex& song, const Features& clip, std::size_t most) {
  if (clip.frames < kShortest || song.features().frames < kShortest) return {};
  const int blocks = std::max(1, (clip.frames + kBlock / 2) / kBlock);
  const auto begin_of = [&](int k) { return static_cast<int>(static_cast<std::int64_t>(clip.frames) * k / blocks); };
  std::vector<Run> runs(static_cast<std::size_t>(clip.frames + song.features().frames));
  for (int k = 0; k < blocks; ++k) {
    const int from = begin_of(k), count = begin_of(k + 1) - from;
    auto z = correlate(song, clip, from, count);
    standardise(song, count, z);
    // runs[r] is the place whose offset is r − clip.frames; z[i] belongs to the offset i − count + 1 − from.
    const int shift = clip.frames - count + 1 - from;
    for (int r = 0; r < static_cast<int>(runs.size()); ++r) {
      const int i = r - shift;
      if (i >= 0 && i < static_cast<int>(z.size()))
        runs[static_cast<std::size_t>(r)].add(z[static_cast<std::size_t>(i)], k);
      else
        runs[static_cast<std::size_t>(r)].none();
    }
  }
  std::vector<Ranked> ranked;
  const auto weight = [&](int r) {
    return r >= 0 && r < static_cast<int>(runs.size()) ? runs[static_cast<std::size_t>(r)].best : 0.0F;
  };
  for (int r = 0; r < static_cast<int>(runs.size()); ++r)
    if (weight(r) > 0 && weight(r) >= weight(r - 1) && weight(r) > weight(r + 1)) ranked.push_back({weight(r), r});
  std::sort(ranked.begin(), ranked.end(), [](const Ranked& a, const Ranked& b) {
    return a.weight != b.weight ? a.weight > b.weight : a.offset < b.offset;
  });
  std::vector<CoarsePlace> places;
  for (const auto& [best, r] : ranked) {
    if (places.size() >= most) break;
    const int offset = r - clip.frames;
    if (std::any_of(places.begin(), places.end(), [&](const auto& p) { return std::abs(p.offset - offset) < kApart; }))
      continue;
    const Run& run = runs[static_cast<std::size_t>(r)];
    const double bend = weight(r - 1) - 2 * best + weight(r + 1);
    const double part = bend < 0 ? std::clamp(0.5 * (weight(r - 1) - weight(r + 1)) / bend, -0.5, 0.5) : 0;
    places.push_back({offset, part, begin_of(run.best_begin), begin_of(run.best_end),
                      run.best_sum / std::sqrt(static_cast<double>(run.best_end - run.best_begin)), best});
  }
  return places;
}

}  // namespace everytake::align
