#include "align/repeats.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>

#include "align/coarse.h"

namespace everytake::align {
namespace {

constexpr std::size_t kFewWindows = 6;
constexpr int kMostWindows = 48;
constexpr int kMostBeyond = 6;  // windows past an end of the song
constexpr std::size_t kMostPlaces = 32;
constexpr double kResembles = 0.4;  // of how well the stretch goes with itself
constexpr int kTogether = 24;       // samples: a repeat is a copy when it stands this near to where it is expected
constexpr float kCopied = 8;        // deviations of the song's own agreement with itself
constexpr double kOwnShare = 0.42;  // a place is only better where its own sound is heard
constexpr double kOwnHeard = 0.5;   // here it is beyond doubt
constexpr double kHeardOn = 0.75;   // of what is heard of others: past a song's end this is no echo of it

// Bins are summed in groups before two places are aligned: within a group the phase hardly turns, because the places
// are at most kTogether samples apart.
constexpr std::size_t kGroup = 8;
constexpr std::size_t kGroups = (kLastBin - kFirstBin + kGroup - 1) / kGroup;
constexpr double kFirstCentre = kFirstBin + (kGroup - 1) / 2.0;  // the bin in the middle of the first group

// What a shift of `so_far` still leaves to be shifted, by the slope of the phase over frequency (least squares): for
// shifts below a sample. `common` is what two places have in common, group by group.
double remaining_shift(std::span<const Bin> common, double so_far) {
  const double step = 2 * M_PI * so_far / kWindow;
  const std::complex<double> turn = std::polar(1.0, step * kGroup);
  auto phase = std::polar(1.0, step * kFirstCentre);
  double over = 0, under = 0, bin = kFirstCentre;
  for (const Bin group : common) {
    const double real = group.real() * phase.real() - group.imag() * phase.imag();
    const double imag = group.real() * phase.imag() + group.imag() * phase.real();
    if (real > 0) {
      over += bin * imag;
      under += bin * bin * std::sqrt(real * real + imag * imag);
    }
    bin += kGroup;
    phase = {phase.real() * turn.real() - phase.imag() * turn.imag(),
             phase.real() * turn.imag() + phase.imag() * turn.real()};
  }
  return under > 0 ? -over / under * kWindow / (2 * M_PI) : 0;
}

// Moves `b` onto `a` where it is the same recording, to a hundredth of a sample; leaves it where it is not. `lags` is
// of groups of kGroup.
void bring_together(const std::vector<Bin>& a, std::vector<Bin>& b, ShortLags& lags) {
  std::array<Bin, kGroups> common{};
  const auto directions = lags.clear();
  for (std::size_t k = 0; k < a.size(); ++k) {
    const Bin c = against(a[k], b[k]);
    common[k / kGroup] += c;
    directions[k / kGroup] += c * (1 / (size_of(c) + 1e-20F));
  }
  lags.correlate();
  int top = 0;
  for (int lag = -kTogether; lag <= kTogether; ++lag)
    if (lags.at(lag) > lags.at(top)) top = lag;
  const auto noise = static_cast<float>(std::sqrt(2.0 * static_cast<double>(a.size())));
  if (lags.at(top) < kCopied * noise) return;
  double lag = top;
  for (int round = 0; round < 3; ++round) lag += remaining_shift(common, lag);
  shift(b, lag);
}

constexpr std::size_t kBins = 4;  // of a band: 2 Hz
constexpr std::size_t kNarrow = (kLastBin - kFirstBin) / kBins;

// What a clip and the song have in common in a few bins, over windows of some weight, at two places.
struct Band {
  Bin with_a{}, with_b{};  // of bins as strong as those of both places together
  float a = 0, b = 0, apart = 0;
  float both() const { return a + b; }
  // Share of the energy at both places that is apart: 0 where they are the same.
  float difference() const { return both() > 0 ? apart / both() : 0; }
  void add(const Band& other, float weight) {
    with_a += weight * other.with_a;
    with_b += weight * other.with_b;
    a += weight * other.a;
    b += weight * other.b;
    apart += weight * other.apart;
  }
};

// Share of the clip's sound that the song explains where `seen` bins of one weight were looked at, less what chance
// would give it.
double held(Bin with, float energy, double weights, double seen) {
  return energy > 0 ? energy_of(with) / (energy * weights) - 1 / seen : 0;
}

// How well one unknown room, the same in all windows, turns what the song has at each of two places into what the clip
// has. A room's answer hardly changes over a few bins, and what it is does not matter: only that it is one. So the
// echoes of a hall speak for a place as the straight sound does.
class Rooms {
 public:
  // `ours` are directions; the song has `a` and `b` at the two places. How loud it is there does not count, nor how
  // evenly: only directions are compared, and each bin counts as it is strong at both places together.
  void add(std::span<const Bin> ours, std::span<const Bin> a, std::span<const Bin> b) {
    const float to_a = to_one(a), to_b = to_one(b);
    auto& window = windows_.emplace_back();
    std::array<float, kNarrow * kBins> size_a, size_b, strength;
    for (std::size_t k = 0; k < strength.size(); ++k) {
      size_a[k] = size_of(a[k]);
      size_b[k] = size_of(b[k]);
      const float here = to_a * size_a[k], there = to_b * size_b[k];
      strength[k] = std::sqrt(here * here + there * there);
    }
    double held_a = 0, held_b = 0;
    for (std::size_t g = 0; g < kNarrow; ++g) {
      auto& band = window.bands[g];
      float common = 0;
      for (std::size_t k = g * kBins; k < (g + 1) * kBins; ++k) {
        band.with_a += against(a[k], ours[k]) * (strength[k] / (size_a[k] + 1e-20F));
        band.with_b += against(b[k], ours[k]) * (strength[k] / (size_b[k] + 1e-20F));
        band.a += size_a[k] * size_a[k];
        band.b += size_b[k] * size_b[k];
        common += against(a[k], b[k]).real();
      }
      band.a *= to_a * to_a;
      band.b *= to_b * to_b;
      band.apart = std::max(0.0F, band.both() - 2 * to_a * to_b * common);
      held_a += held(band.with_a, band.both(), kBins, kBins);
      held_b += held(band.with_b, band.both(), kBins, kBins);
    }
    window.held = std::max({held_a, held_b, 0.0}) / kNarrow;
  }

  // Adds up the windows in which either place is heard a third as well as in the best: where playback has stopped, a
  // place that is quiet or plain would seem to fit better.
  void add_up() {
    bands_.assign(kNarrow, {});
    weights_ = squares_ = 0;
    double most = 0;
    for (const auto& window : windows_) most = std::max(most, window.held);
    least_ = kHeard * most;
    for (const auto& window : windows_) {
      if (window.held < least_) continue;
      for (std::size_t g = 0; g < kNarrow; ++g) bands_[g].add(window.bands[g], static_cast<float>(window.held));
      weights_ += window.held * kBins;
      squares_ += window.held * window.held * kBins;
    }
  }

  // By how much the first place fits better: the sum, over bands where the places differ, of log likelihood ratios for
  // noise of unknown strength, in deviations as they themselves vary.
  double deviations() const {
    double sum = 0, squares = 0;
    for (const auto& band : bands_) {
      if (band.difference() < kSame) continue;
      const double one = log_likelihood(band.with_b, band.both()) - log_likelihood(band.with_a, band.both());
      sum += one;
      squares += one * one;
    }
    return squares > 0 ? sum / std::sqrt(squares) : 0;
  }

  // How strongly the clip holds what only one of the places has, beside how strongly it holds what both have. Another
  // song made of the same loops holds the loops alone. nullopt where they have less than a sixteenth in common, or next
  // to nothing of their own.
  std::optional<double> own_share_of_first() const { return own_share(&Band::with_a, &Band::a); }
  std::optional<double> own_share_of_second() const { return own_share(&Band::with_b, &Band::b); }

  // How much of a window's sound comes through this room, beside how much of the others' does: of `clip` (directions)
  // at the place where the song has `song`, that place being the first or the second. Near 0 where another sound is
  // heard.
  double heard_at_first(std::span<const Bin> clip, std::span<const Bin> song, ShortLags& lags) const {
    return heard(clip, song, &Band::with_a, lags);
  }
  double heard_at_second(std::span<const Bin> clip, std::span<const Bin> song, ShortLags& lags) const {
    return heard(clip, song, &Band::with_b, lags);
  }

 private:
  static constexpr double kHeard = 0.33;
  static constexpr std::size_t kAround = 50;
  static constexpr int kFewBands = 20;
  static constexpr float kMostWeight = 3;
  // As Band::difference() has it.
  static constexpr float kSame = 0.004F, kCommon = 0.1F, kOwn = 0.5F;

  struct Window {
    std::vector<Band> bands = std::vector<Band>(kNarrow);
    double held = 0;  // at the place that explains more
  };
  struct Mean {
    double sum = 0, weights = 0;
    int count = 0;
    void add(double value, double weight) {
      sum += value * weight;
      weights += weight;
      ++count;
    }
    double value() const { return weights > 0 ? sum / weights : 0; }
  };

  std::optional<double> own_share(Bin Band::*with, float Band::*energy) const {
    std::vector<float> energies(kNarrow);
    std::transform(bands_.begin(), bands_.end(), energies.begin(), [=](const Band& band) { return band.*energy; });
    const auto level = local_means(energies, kAround);
    Mean own, common;
    for (std::size_t g = 0; g < kNarrow; ++g) {
      const auto& band = bands_[g];
      if (band.*energy <= 0) continue;
      const double weight = std::min(kMostWeight, band.*energy / level[g]);
      const double share = held(band.*with, band.both(), weights_, seen());
      if (band.difference() > kOwn) own.add(share, weight);
      if (band.difference() < kCommon) common.add(share, weight);
    }
    if (own.count < kFewBands || common.count < static_cast<int>(kNarrow) / 16) return std::nullopt;
    return common.value() > 0 ? own.value() / common.value() : 0;
  }

  double heard(std::span<const Bin> clip, std::span<const Bin> song, Bin Band::*with, ShortLags& lags) const {
    static_assert(kGroup % kBins == 0);
    double through = 0, all = 0, usual = 0, usual_all = 0;
    const auto groups = lags.clear();
    for (std::size_t g = 0; g < kNarrow; ++g) {
      Bin here{};
      for (std::size_t k = g * kBins; k < (g + 1) * kBins; ++k) here += against(song[k], clip[k]);
      const Bin way = bands_[g].*with;
      groups[g * kBins / kGroup] += against(way, here) * (1 / (size_of(way) + 1e-20F));
      all += size_of(here);
      usual += size_of(way);
    }
    for (const auto& window : windows_)
      if (window.held >= least_)
        for (const auto& band : window.bands) usual_all += window.held * size_of(band.*with);
    lags.correlate();
    for (int lag = -kTogether; lag <= kTogether; ++lag) through = std::max(through, lags.at(lag) / 2.0);
    return all > 0 && usual > 0 ? through / all * usual_all / usual : 0;
  }
  // What makes a mean energy of one.
  static float to_one(std::span<const Bin> bins) {
    float energy = 0;
    for (const Bin bin : bins.first(kNarrow * kBins)) energy += energy_of(bin);
    return energy > 0 ? std::sqrt(static_cast<float>(kNarrow * kBins) / energy) : 0;
  }
  // As many bins of one weight would tell as much.
  double seen() const { return squares_ > 0 ? weights_ * weights_ / squares_ : 0; }
  double log_likelihood(Bin with, float energy) const {
    return energy > 0 ? seen() * std::log1p(-std::min(0.999, energy_of(with) / (energy * weights_))) : 0;
  }

  std::vector<Window> windows_;
  std::vector<Band> bands_;           // of the windows together
  double least_ = 0;                  // that a window must be heard to be among them
  double weights_ = 0, squares_ = 0;  // of a band's bins
};

// What the windows that both places have say, in deviations for the first.
double by_sound(const Rooms& rooms, double enough) {
  const double deviations = rooms.deviations();
  if (deviations <= -enough) return deviations;
  const auto ours = rooms.own_share_of_first();
  const auto theirs = ours && deviations < enough ? rooms.own_share_of_second() : std::nullopt;
  // Of two that fit alike, the one whose own sound is heard and not the other's.
  if (theirs && *ours > kOwnHeard && *theirs < kOwnShare) return enough;
  if (theirs && *theirs > kOwnHeard && *ours < kOwnShare) return -enough;
  return deviations > 0 && ours.value_or(1) < kOwnShare ? 0 : deviations;
}

}  // namespace

Contest::Contest(const SongIndex& song, Windows& clip, const Line& champion)
    : song_(song), clip_(clip), champion_(champion), lags_(kGroup), kept_(static_cast<std::size_t>(clip.count() + 2)) {}

std::vector<double> similar_places(const SongIndex& song, const Windows& clip, const Line& line) {
  const auto& whole = song.features();
  const double begin = line.at(clip.begin(line.first));
  const double end =
      line.at(std::min<double>(clip.begin(line.last - 1) + kWindow, static_cast<double>(clip.sound_size())));
  constexpr double kHop = kFrameSeconds * kAlignRate;
  const int from = std::clamp(static_cast<int>(std::lround(begin / kHop)), 0, whole.frames);
  const int to = std::clamp(static_cast<int>(std::lround(end / kHop)), from, whole.frames);
  Features part;
  part.frames = to - from;
  for (int b = 0; b < kBands; ++b) {
    const auto band = whole.band(b).subspan(static_cast<std::size_t>(from), static_cast<std::size_t>(part.frames));
    part.values.insert(part.values.end(), band.begin(), band.end());
  }
  std::vector<double> offsets;
  const auto places = coarse_places(song, part, kMostPlaces + 1);
  for (const auto& place : places)
    if (place.offset != from && place.weight > kResembles * places.front().weight)
      offsets.push_back(line.start + (place.offset - from) * kHop);
  return offsets;
}

const std::vector<Bin>& Contest::here(int window) {
  auto& kept = kept_[static_cast<std::size_t>(window + 1)];
  if (kept.empty()) kept = song_along(champion_, window).value_or(std::vector<Bin>(kLastBin - kFirstBin));
  return kept;
}

// What the song has there of a window, and nothing past the clip's ends.
std::optional<std::vector<Bin>> Contest::song_along(const Line& line, int window) {
  const auto size = static_cast<double>(song_.sound().size());
  const auto from = std::clamp(std::round(line.at(0)), 0.0, size);
  const auto to = std::clamp(std::round(line.at(static_cast<double>(clip_.sound_size()))), from, size);
  const auto part = song_.sound().subspan(static_cast<std::size_t>(from), static_cast<std::size_t>(to - from));
  return spectrum_at(part, line.at(clip_.begin(window)) - from, clip_.fft());
}

// Of windows, those that lie within the song at both places. Where playback begins or ends, a place past the song's end
// would seem to know it.
std::vector<int> Contest::within_song(const Line& rival, std::vector<int> windows) const {
  const auto size = static_cast<double>(song_.sound().size());
  std::erase_if(windows, [&](int w) {
    const int from = std::max(0, clip_.begin(w));
    const int to = std::min(clip_.begin(w) + kWindow, static_cast<int>(clip_.sound_size()));
    return std::min(champion_.at(from), rival.at(from)) < 0 || std::max(champion_.at(to), rival.at(to)) > size;
  });
  return windows;
}

// A window in which playback begins or stops is left out where there are others: a place where the song itself is quiet
// there would seem to know it.
std::vector<int> Contest::windows_for(const Line& rival) const {
  constexpr int kEnough = 4;
  int first = std::min(champion_.first, rival.first), last = std::max(champion_.last, rival.last);
  const bool can_spare = last - first > kEnough;
  first += can_spare && first > 0;
  last -= can_spare && last < clip_.count();
  std::vector<int> all(static_cast<std::size_t>(std::max(0, last - first)));
  std::iota(all.begin(), all.end(), first);
  auto within = within_song(rival, all);
  return within.empty() ? all : within;
}

// The windows past the clip's ends, at those it was heard to.
std::vector<int> Contest::ends_for(const Line& rival) const {
  std::vector<int> ends;
  if (std::min(champion_.first, rival.first) == 0) ends.push_back(-1);
  if (std::max(champion_.last, rival.last) == clip_.count()) ends.push_back(clip_.count());
  return within_song(rival, std::move(ends));
}

// Whether the clip goes on with `line` where at `past` the song has not begun or is over. `heard` tells how much of a
// window's sound comes through the room that was found for `line`.
template <class Heard>
bool Contest::agrees_beyond(const Line& line, const Line& past, Heard heard) {
  constexpr double kInside = 0.375 * kWindow;  // of a window; under a Hann window a quarter of its sound
  const auto size = static_cast<double>(song_.sound().size());
  int seen = 0;
  for (int w = std::min(line.first, past.first); w < std::max(line.last, past.last) && seen < kMostBeyond; ++w) {
    const double here = line.at(clip_.begin(w)), there = past.at(clip_.begin(w));
    if (here < 0 || here > size - kWindow || (there > kInside - kWindow && there < size - kInside)) continue;
    const auto ours = clip_.directions(w);
    const auto song = ours.empty() ? std::nullopt : spectrum_at(song_.sound(), here, clip_.fft());
    if (!song) continue;
    ++seen;
    if (heard(ours, *song) > kHeardOn) return true;
  }
  return false;
}

double Contest::against(const Line& rival, double enough) {
  const auto windows = windows_for(rival);
  Rooms rooms;
  const auto listen = [&](int w) {
    const auto ours = clip_.directions(w);
    if (ours.empty()) return false;
    const auto& mine = here(w);
    auto theirs = song_along(rival, w);
    if (theirs)
      bring_together(mine, *theirs, lags_);
    else
      theirs.emplace(mine.size());
    rooms.add(ours, mine, *theirs);
    return true;
  };
  // First a few windows from all over, then those between them.
  const std::size_t step = std::max<std::size_t>(1, windows.size() / kFewWindows);
  int seen = 0;
  for (std::size_t turn = 0; turn < step; ++turn) {
    for (std::size_t i = turn; i < windows.size() && seen < kMostWindows; i += step) seen += listen(windows[i]);
    rooms.add_up();
    if (std::abs(rooms.deviations()) > 1.5 * enough || seen >= kMostWindows) break;
  }
  double by = by_sound(rooms, enough);
  // Of two places that are alike but for what is heard at the very ends of the clip.
  if (std::abs(by) < enough && rooms.own_share_of_first().value_or(1) >= kOwnShare) {
    for (const int w : ends_for(rival)) listen(w);
    rooms.add_up();
    by = rooms.deviations();
  }
  // A place at the song's end does not win where the song goes on: it lacks only what lies past that end.
  const auto at_first = [&](auto clip, auto song) { return rooms.heard_at_first(clip, song, lags_); };
  const auto at_second = [&](auto clip, auto song) { return rooms.heard_at_second(clip, song, lags_); };
  if (by < 0 && agrees_beyond(champion_, rival, at_first)) return 0;
  if (by > 0 && agrees_beyond(rival, champion_, at_second)) return 0;
  return by;
}

}  // namespace everytake::align
