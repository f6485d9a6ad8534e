#include "align/fine.h"

#include <algorithm>
#include <cmath>

namespace everytake::align {
namespace {

constexpr int kCoarseReach = 640;       // samples: four of the coarse search's steps; echoes of a hall come two late
constexpr double kMostDrift = 150e-6;   // of two cheap clocks against each other
constexpr int kMostReach = 4000;        // samples
constexpr float kMostOfOne = 40;        // deviations; a single clear window is not worth a whole clip
constexpr std::size_t kEnvelope = 200;  // bins, ±100 Hz: what counts as a song's level around a bin
constexpr float kMostWeight = 3;        // of a bin against its neighbours

// Agreement of one window, in deviations, at lags −reach … reach of samples around the offset.
struct Row {
  int window = 0;
  double centre = 0;  // clip samples
  std::vector<float> z;
};

// The song's bins weighted by how far they rise above their neighbours: where the song is weak, only noise is heard.
void emphasise(std::vector<Bin>& bins) {
  std::vector<float> level(bins.size());
  std::transform(bins.begin(), bins.end(), level.begin(), size_of);
  const auto means = local_means(level, kEnvelope);
  for (std::size_t k = 0; k < bins.size(); ++k) bins[k] *= 1 / std::max(means[k], level[k] / kMostWeight);
}

// To deviations of the row's own noise; by its median, so that the peak does not count.
void standardise(std::vector<float>& row) {
  std::vector<float> sizes(row.size());
  std::transform(row.begin(), row.end(), sizes.begin(), [](float v) { return std::abs(v); });
  const auto middle = sizes.begin() + static_cast<long>(sizes.size() / 2);
  std::nth_element(sizes.begin(), middle, sizes.end());
  const float deviation = 1.4826F * *middle + 1e-20F;
  for (float& v : row) v /= deviation;
}

std::optional<Row> row_of(const SongIndex& song, Windows& clip, int window, long offset, int reach) {
  const double at = static_cast<double>(clip.begin(window) + offset);
  if (at + kWindow / 2.0 < 0 || at + kWindow / 2.0 > static_cast<double>(song.sound().size())) return std::nullopt;
  const auto ours = clip.directions(window);
  if (ours.empty()) return std::nullopt;
  auto theirs = spectrum_at(song.sound(), at, clip.fft());
  if (!theirs) return std::nullopt;
  emphasise(*theirs);
  auto& lags = clip.lags(reach);
  std::size_t k = 0;
  for (Bin& common : lags.clear())
    for (const std::size_t end = std::min(k + lags.group(), ours.size()); k < end; ++k)
      common += against(ours[k], (*theirs)[k]);
  lags.correlate();
  Row row{window, clip.centre(window), std::vector<float>(static_cast<std::size_t>(2 * reach + 1))};
  for (int lag = -reach; lag <= reach; ++lag) row.z[static_cast<std::size_t>(lag + reach)] = lags.at(lag);
  standardise(row.z);
  return row;
}

// Σ over the rows along each line; the best one.
struct Stacked {
  double lag = 0, drift = 0, score = 0;
};
Stacked stack(const std::vector<Row>& rows, int reach, double middle, const std::vector<double>& drifts) {
  std::vector<float> sum(static_cast<std::size_t>(2 * reach + 1));
  Stacked best;
  for (const double drift : drifts) {
    std::fill(sum.begin(), sum.end(), 0.0F);
    for (const Row& row : rows) {
      const auto shift = static_cast<int>(std::lround(drift * (row.centre - middle)));
      const int from = std::max(0, -shift), to = std::min(2 * reach + 1, 2 * reach + 1 - shift);
      for (int i = from; i < to; ++i) sum[static_cast<std::size_t>(i)] += row.z[static_cast<std::size_t>(i + shift)];
    }
    const auto top = std::max_element(sum.begin(), sum.end());
    const double score = *top / std::sqrt(static_cast<double>(rows.size()));
    if (score > best.score) best = {static_cast<double>(top - sum.begin() - reach), drift, score};
  }
  return best;
}

// So close that two differ by no more than a sample at the ends, in all.
std::vector<double> every_drift(double length) {
  const double step = 1 / std::max(length, static_cast<double>(kWindow));
  const int steps = static_cast<int>(std::ceil(kMostDrift / step));
  std::vector<double> drifts;
  for (int d = -steps; d <= steps; ++d) drifts.push_back(std::clamp(d * step, -kMostDrift, kMostDrift));
  return drifts;
}

struct Peak {
  double lag = 0;
  float z = 0;
};
// The highest point within `around` samples of `lag`, finer than a sample by a parabola.
Peak peak_near(const Row& row, int reach, double lag, int around) {
  const int middle = static_cast<int>(std::lround(lag)) + reach;
  const int size = 2 * reach + 1;
  int top = -1;
  for (int i = std::max(1, middle - around); i <= std::min(size - 2, middle + around); ++i)
    if (top < 0 || row.z[static_cast<std::size_t>(i)] > row.z[static_cast<std::size_t>(top)]) top = i;
  if (top < 0) return {};
  const auto t = static_cast<std::size_t>(top);
  const double left = row.z[t - 1], here = row.z[t], right = row.z[t + 1];
  const double bend = left - 2 * here + right;
  const double part = bend < 0 ? std::clamp(0.5 * (left - right) / bend, -0.5, 0.5) : 0;
  return {top - reach + part, row.z[t]};
}

struct Point {
  double at, lag, weight;
};

// A straight line through points, of which some may be wrong (Tukey's biweight, repeated).
std::pair<double, double> robust_line(const std::vector<Point>& points, double lag0, double slope0, double middle,
                                      bool with_slope) {
  double lag = lag0, slope = slope0;
  for (int round = 0; round < 8; ++round) {
    std::vector<double> misses;
    for (const auto& p : points) misses.push_back(std::abs(p.lag - lag - slope * (p.at - middle)));
    std::nth_element(misses.begin(), misses.begin() + static_cast<long>(misses.size() / 2), misses.end());
    const double scale = std::max(0.02, 4.685 * 1.4826 * misses[misses.size() / 2]);
    double w = 0, wx = 0, wy = 0, wxx = 0, wxy = 0;
    for (const auto& p : points) {
      const double u = (p.lag - lag - slope * (p.at - middle)) / scale;
      if (std::abs(u) >= 1) continue;
      const double weight = p.weight * (1 - u * u) * (1 - u * u), x = p.at - middle;
      w += weight;
      wx += weight * x;
      wy += weight * p.lag;
      wxx += weight * x * x;
      wxy += weight * x * p.lag;
    }
    if (w <= 0) break;
    const double spread = w * wxx - wx * wx;
    if (with_slope && spread > 0) slope = (w * wxy - wx * wy) / spread;
    lag = (wy - slope * wx) / w;
  }
  return {lag, slope};
}

// Of `count` windows, those to look at: `most`, evenly.
std::vector<int> spread(int first, int last, int most) {
  std::vector<int> chosen;
  const int count = last - first;
  for (int i = 0; i < std::min(count, most); ++i)
    chosen.push_back(first +
                     static_cast<int>((static_cast<std::int64_t>(2 * i + 1) * count) / (2 * std::min(count, most))));
  return chosen;
}

constexpr float kAgrees = 2.5F;  // deviations a window must exceed at the line to speak for it

// The windows of the best run.
std::pair<int, int> agreeing(const std::vector<std::pair<int, float>>& values) {
  float now = 0, best = 0;
  int begin = 0;
  std::pair<int, int> run{0, 0};
  for (const auto& [window, z] : values) {
    if (now <= 0) {
      now = 0;
      begin = window;
    }
    now += z - kAgrees;
    if (now > best) {
      best = now;
      run = {begin, window + 1};
    }
  }
  return run;
}

}  // namespace

std::optional<Line> search_line(const SongIndex& song, Windows& clip, double offset, int from, int to, int most,
                                std::optional<double> drift) {
  int first = clip.count(), last = 0;
  for (int w = 0; w < clip.count(); ++w)
    if (clip.centre(w) >= from && clip.centre(w) <= to) {
      first = std::min(first, w);
      last = w + 1;
    }
  if (first >= last) {  // a clip or a run shorter than a window
    first = std::clamp((from + to - kWindow) / 2 / kWindowHop, 0, clip.count() - 1);
    last = first + 1;
  }
  const double length = clip.centre(last - 1) - clip.centre(first);
  const double middle = (clip.centre(last - 1) + clip.centre(first)) / 2;
  const int reach = std::min(kMostReach, kCoarseReach + static_cast<int>(kMostDrift * length));
  const long base = std::lround(offset);
  std::vector<Row> rows;
  for (const int w : spread(first, last, most))
    if (auto row = row_of(song, clip, w, base, reach)) {
      for (float& z : row->z) z = std::min(z, kMostOfOne);
      rows.push_back(std::move(*row));
    }
  if (rows.empty()) return std::nullopt;
  const auto best = stack(rows, reach, middle, drift ? std::vector{*drift} : every_drift(length));
  return Line{static_cast<double>(base) + best.lag - best.drift * middle, best.drift, best.score, first, last};
}

Line refine_line(const SongIndex& song, Windows& clip, const Line& line) {
  constexpr int kReach = 200;  // samples: enough for the row's noise to be known
  constexpr int kAround = 3;
  std::vector<Point> points;
  std::vector<std::pair<int, float>> values;
  for (int w = 0; w < clip.count(); ++w) {
    const double lag = line.at(clip.centre(w)) - clip.centre(w);  // song − clip, in samples
    const auto base = std::lround(lag);
    const auto row = row_of(song, clip, w, base, kReach);
    const auto peak = row ? peak_near(*row, kReach, lag - static_cast<double>(base), kAround) : Peak{};
    values.emplace_back(w, row ? peak.z : 0.0F);
    points.push_back({clip.centre(w), static_cast<double>(base) + peak.lag, peak.z});
  }
  Line refined = line;
  const auto [first, last] = agreeing(values);
  if (first >= last) return refined;
  refined.first = first;
  refined.last = last;
  std::vector<Point> good;
  for (int w = first; w < last; ++w)
    if (points[static_cast<std::size_t>(w)].weight > kAgrees + 1) good.push_back(points[static_cast<std::size_t>(w)]);
  if (good.empty()) return refined;
  const double middle = (good.front().at + good.back().at) / 2;
  const bool with_slope = good.size() >= 3 && good.back().at - good.front().at >= 2 * kWindow;
  const double lag0 = line.at(middle) - middle;
  const auto [lag, slope] = robust_line(good, lag0, line.drift, middle, with_slope);
  refined.drift = with_slope ? slope : good.size() < 2 ? 0 : line.drift;
  refined.start = lag - refined.drift * middle;
  return refined;
}

}  // namespace everytake::align
