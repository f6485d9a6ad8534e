#include "align/place.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <set>

#include "align/coarse.h"
#include "align/fine.h"
#include "align/repeats.h"
#include "align/resample.h"

namespace everytake::align {
namespace {

// Set on the tuning songs of tests/bench: see its table.
constexpr double kAccept = 7.5;      // deviations of a line's score; a few seconds of other music reached 7.0
constexpr double kAcceptOther = 10;  // the same at a speed the plan does not name: there are five more to be wrong at
constexpr double kSure = 4;          // of a line's score a window: nobody asks whether another speed fits better
constexpr double kAcceptStretched = 9;     // of the coarse score, for a speed that keeps the pitch
constexpr int kLeastStretched = 12;        // seconds of song, for the same
constexpr double kPromising = 4;           // of the coarse score: worth a finer look at another speed
constexpr double kBetter = 4.5;            // deviations by which a place must beat another to be the only one
constexpr double kByLittle = 3 * kBetter;  // below it a line a few parts in a million off may decide
constexpr int kFewToBeSure = 16;           // windows of a short clip
constexpr double kRivals = 0.5;            // of the best line's score: below it a place is no rival

constexpr std::size_t kPlaces = 24, kPlacesOfLong = 12, kPlacesElsewhere = 6, kSpeedsToHear = 2;
constexpr int kLongClip = 20 * kAlignRate;  // samples: from here on the coarse search hardly errs
constexpr int kFewWindows = 3, kQuickWindows = 6, kAllWindows = 32;
constexpr std::size_t kFinalists = 4, kRefined = 6;
constexpr double kSamePlace = 0.05 * kAlignRate;  // samples
constexpr float kSilent = 1e-5F;                  // −100 dB: a muted track
constexpr double kHop = kFrameSeconds * kAlignRate;
constexpr int kShortestClip = kAlignRate;  // samples: nothing can be said of less than a second

// A clip as it would have been at the song's own speed, and the places where it fits.
struct Hearing {
  Playback playback;
  std::vector<float> resampled;  // empty at the song's own speed
  std::span<const float> sound;
  std::optional<Windows> windows;
  std::vector<Line> lines;  // the best first
  double accept = kAccept;  // score from which on a line is one
  double coarse = 0;        // score of the best coarse place
  double score() const { return lines.empty() ? 0 : lines.front().score; }
  bool fits() const { return score() >= accept; }
  bool fits_better_than(const Hearing& other) const {
    return fits() != other.fits() ? fits() : score() > other.score();
  }
  // A song of loops agrees a little with itself at any speed; sound at its right place agrees in every window.
  bool sure() const {
    if (!fits()) return false;
    const int looked_at = std::min(kAllWindows, lines.front().last - lines.front().first);
    return score() > kSure * std::sqrt(static_cast<double>(looked_at));
  }
};

bool by_score(const Line& a, const Line& b) {
  return a.score != b.score ? a.score > b.score : a.start < b.start;
}

bool near(const Line& a, const Line& b) {
  return std::abs(a.start - b.start) < kSamePlace;
}

void add_line(std::vector<Line>& lines, const Line& line) {
  if (std::none_of(lines.begin(), lines.end(), [&](const Line& other) { return near(line, other); }))
    lines.push_back(line);
}

// Lines near the coarse places: all quickly, then with every window those that either search puts first. In songs made
// of loops the fine search hears the same drums in every bar, and only the coarse one the rest.
void find_lines(const SongIndex& song, const std::vector<CoarsePlace>& places, Hearing& hearing) {
  const auto look = [&](const CoarsePlace& p, int most) {
    return search_line(song, *hearing.windows, p.offset * kHop, static_cast<int>(p.from * kHop),
                       static_cast<int>(p.to * kHop), most);
  };
  std::vector<std::pair<double, std::size_t>> quick;
  for (std::size_t i = 0; i < places.size(); ++i)
    if (const auto line = look(places[i], kQuickWindows)) quick.emplace_back(-line->score, i);
  std::sort(quick.begin(), quick.end());
  std::set<std::size_t> finalists;
  for (std::size_t i = 0; i < std::min(kFinalists, quick.size()); ++i) finalists.insert(quick[i].second);
  for (std::size_t i = 0; i < std::min(kFinalists, places.size()); ++i) finalists.insert(i);
  std::vector<Line> all;
  for (const std::size_t i : finalists)
    if (const auto line = look(places[i], kAllWindows)) all.push_back(*line);
  std::sort(all.begin(), all.end(), by_score);
  for (const auto& line : all) add_line(hearing.lines, line);
}

Hearing hear(const SongIndex& song, std::span<const float> clip, Playback playback,
             const std::vector<CoarsePlace>& places) {
  Hearing hearing;
  hearing.playback = playback;
  if (playback.speed != 1) hearing.resampled = slowed_down(clip, playback.speed);
  hearing.sound = playback.speed == 1 ? clip : std::span<const float>(hearing.resampled);
  hearing.windows.emplace(hearing.sound);
  if (!places.empty()) hearing.coarse = places.front().score;
  find_lines(song, places, hearing);
  return hearing;
}

// Where a clip would lie at another speed, as far as the coarse search can tell.
struct Elsewhere {
  Playback playback;
  std::vector<CoarsePlace> places;
  double score() const { return places.empty() ? 0 : places.front().score; }
  // The coarse search alone errs where it has little to go by.
  bool long_enough() const {
    return !places.empty() && places.front().to - places.front().from >= kLeastStretched * kFramesPerSecond;
  }
};

double confidence(double score, double accepted) {
  return 1 - 0.5 * (accepted / score) * (accepted / score);
}

// The stretch of the song that the clip's samples [from, to) hold on a line.
Span span_of(const Line& line, double from, double to, const SongIndex& song) {
  const double begin = std::clamp(line.at(from) / kAlignRate, 0.0, song.seconds());
  const double end = std::clamp(line.at(to) / kAlignRate, 0.0, song.seconds());
  return {from_seconds(begin), from_seconds(end)};
}

// Where the playback was heard: the windows that agree, and out to an end of clip or song that is near.
Span heard_span(const Hearing& hearing, const Line& line, const SongIndex& song) {
  constexpr double kNear = 2 * kWindow, kEdge = 0.6 * kWindow;
  const auto& windows = *hearing.windows;
  const auto size = static_cast<double>(hearing.sound.size());
  // A window agrees already when a good part of it does: on average playback begins in its second half.
  double from = windows.begin(line.first) + kEdge, to = windows.begin(line.last - 1) + kWindow - kEdge;
  const double song_begins = (0 - line.start) / (1 + line.drift);
  const double song_ends = (static_cast<double>(song.sound().size()) - line.start) / (1 + line.drift);
  if (from < kNear || from - song_begins < kNear) from = std::max(0.0, song_begins);
  if (size - to < kNear || song_ends - to < kNear) to = std::min(size, song_ends);
  return span_of(line, from, std::max(from, std::min(to, size)), song);
}

// The line that the clip's sound prefers to each of the others.
Line champion_of(const SongIndex& song, Windows& windows, const std::vector<Line>& lines) {
  std::optional<Contest> contest;
  contest.emplace(song, windows, lines.front());
  for (std::size_t i = 1; i < lines.size(); ++i)
    if (lines[i].score > kRivals * lines.front().score && contest->against(lines[i], kBetter) < 0)
      contest.emplace(song, windows, lines[i]);
  return contest->champion();
}

// Places where the song resembles what it has along `best`, and those the search found that fit half as well.
std::vector<Line> rivals_of(const SongIndex& song, Hearing& hearing, const Line& best) {
  auto& windows = *hearing.windows;
  std::vector<Line> rivals;
  for (const Line& line : hearing.lines)
    if (line.score > kRivals * best.score && !near(line, best)) add_line(rivals, line);
  const int from = windows.begin(best.first), to = windows.begin(best.last - 1) + kWindow;
  // Camera and player have the same clocks wherever the clip lies.
  const auto here = search_line(song, windows, best.start, from, to, kFewWindows, best.drift);
  for (const double offset : similar_places(song, windows, best)) {
    const auto line = search_line(song, windows, offset, from, to, kFewWindows, best.drift);
    if (line && here && line->score > kRivals * here->score && !near(*line, best)) add_line(rivals, *line);
  }
  return rivals;
}

// Drops the rivals that the clip's sound shows to be wrong. One that loses by little in a short clip, which does not
// tell the clocks' drift well, is looked at more closely. Returns the one that the clip prefers to `best`, where there
// is one.
std::optional<Line> drop_losers(const SongIndex& song, Windows& windows, const Line& best, std::vector<Line>& rivals) {
  Contest contest(song, windows, best);
  std::vector<Line> left;
  std::optional<Line> better;
  double least = -kBetter;
  for (Line rival : rivals) {
    double by = contest.against(rival, kBetter);
    if (by >= kBetter && by < kByLittle && windows.count() <= kFewToBeSure) {
      rival = refine_line(song, windows, rival);
      by = contest.against(rival, kBetter);
    }
    if (by < kBetter) left.push_back(rival);
    if (by > least) continue;
    least = by;
    better = rival;
  }
  rivals = std::move(left);
  return better;
}

// The lines that all fit, the best first.
void settle_repeats(const SongIndex& song, Hearing& hearing) {
  constexpr int kMostChampions = 3;
  auto& windows = *hearing.windows;
  Line best = refine_line(song, windows, champion_of(song, windows, hearing.lines));
  auto rivals = rivals_of(song, hearing, best);
  for (int champions = 1;; ++champions) {
    const auto better = drop_losers(song, windows, best, rivals);
    if (!better || champions == kMostChampions) break;
    std::erase_if(rivals, [&](const Line& rival) { return near(rival, *better); });
    rivals.push_back(best);
    best = refine_line(song, windows, *better);
  }
  hearing.lines = {best};
  hearing.lines.insert(hearing.lines.end(), rivals.begin(), rivals.end());
  // Of many nobody takes the sixth for its last millisecond.
  for (std::size_t i = 1; i < std::min(hearing.lines.size(), kRefined); ++i)
    hearing.lines[i] = refine_line(song, windows, hearing.lines[i]);
}

Placement placed(const SongIndex& song, Hearing& hearing) {
  settle_repeats(song, hearing);
  Placement placement;
  const auto& best = hearing.lines.front();
  placement.state = hearing.lines.size() > 1 ? Placement::State::ambiguous : Placement::State::placed;
  placement.start = from_seconds(best.start / kAlignRate);
  placement.speed = hearing.playback.speed;
  placement.drift_ppm = best.drift * 1e6;
  const auto sure_of = [&](const Line& line) {
    return confidence(std::max(line.score, hearing.accept), hearing.accept);
  };
  placement.confidence = sure_of(best);
  placement.spans = {heard_span(hearing, best, song)};
  if (hearing.lines.size() > 1)
    for (const auto& line : hearing.lines)
      placement.candidates.push_back({from_seconds(line.start / kAlignRate), sure_of(line)});
  return placement;
}

// A player that keeps the pitch rearranges the sound in small pieces: only the ups and downs of the bands remain.
Placement placed(const SongIndex& song, const Elsewhere& stretched) {
  Placement placement;
  const auto& best = stretched.places.front();
  placement.state = Placement::State::placed;
  placement.speed = stretched.playback.speed;
  const auto start_of = [](const CoarsePlace& p) { return from_seconds((p.offset + p.part) * kFrameSeconds); };
  placement.start = start_of(best);
  placement.confidence = confidence(best.score, kAcceptStretched);
  const double begin = std::clamp((best.offset + best.from) * kFrameSeconds, 0.0, song.seconds());
  const double end = std::clamp((best.offset + best.to) * kFrameSeconds, 0.0, song.seconds());
  placement.spans = {{from_seconds(begin), from_seconds(end)}};
  for (const auto& other : stretched.places)
    if (other.weight > 0.75 * best.weight)
      placement.candidates.push_back(
          {start_of(other), confidence(std::max(other.score, kAcceptStretched), kAcceptStretched)});
  if (placement.candidates.size() > 1)
    placement.state = Placement::State::ambiguous;
  else
    placement.candidates.clear();
  return placement;
}

Elsewhere elsewhere(const SongIndex& song, std::span<const float> clip, Playback playback, std::size_t most) {
  return {playback, coarse_places(song, features(clip, playback), most)};
}

bool holds(std::span<const double> speeds, double speed) {
  return std::any_of(speeds.begin(), speeds.end(), [&](double s) { return std::abs(s - speed) < 1e-6; });
}

// Where playback at speeds that the plan doesn't name may have been heard, the likeliest first.
std::vector<Elsewhere> moved_elsewhere(const SongIndex& song, std::span<const float> clip,
                                       std::span<const double> planned) {
  std::vector<Elsewhere> moved;
  for (const double speed : kOtherSpeeds)
    if (!holds(planned, speed)) moved.push_back(elsewhere(song, clip, {speed, true}, kPlacesElsewhere));
  std::erase_if(moved, [](const Elsewhere& e) { return e.score() < kPromising; });
  std::stable_sort(moved.begin(), moved.end(),
                   [](const Elsewhere& a, const Elsewhere& b) { return a.score() > b.score(); });
  if (moved.size() > kSpeedsToHear) moved.resize(kSpeedsToHear);
  return moved;
}

std::optional<Elsewhere> stretched_elsewhere(const SongIndex& song, std::span<const float> clip,
                                             std::span<const double> planned) {
  std::vector<double> speeds(planned.begin(), planned.end());
  for (const double speed : kOtherSpeeds)
    if (!holds(speeds, speed)) speeds.push_back(speed);
  std::optional<Elsewhere> best;
  for (const double speed : speeds) {
    if (speed == 1) continue;
    auto here = elsewhere(song, clip, {speed, false}, kPlaces);
    if (!best || here.score() > best->score()) best = std::move(here);
  }
  return best;
}

}  // namespace

Placement place(const SongIndex& song, std::span<const float> clip, std::span<const double> speeds) {
  Placement nothing;
  nothing.state = Placement::State::no_audio;
  const bool silent = std::all_of(clip.begin(), clip.end(), [](float v) { return std::abs(v) < kSilent; });
  if (silent) return nothing;
  nothing.state = Placement::State::none;
  if (clip.size() < kShortestClip || song.sound().size() < kShortestClip) return nothing;

  std::vector<double> planned(speeds.begin(), speeds.end());
  if (!holds(planned, 1)) planned.push_back(1);
  std::optional<Hearing> best;
  const auto listen = [&](Playback playback, const std::vector<CoarsePlace>& places, double accept) {
    auto hearing = hear(song, clip, playback, places);
    hearing.accept = accept;
    if (!best || hearing.fits_better_than(*best)) best = std::move(hearing);
    return best->sure();
  };
  const std::size_t most = clip.size() < kLongClip ? kPlaces : kPlacesOfLong;
  for (const double speed : planned) {
    const Playback playback{speed, true};
    const auto places = coarse_places(song, features(clip, playback), most);
    if (listen(playback, places, kAccept)) return placed(song, *best);
  }
  for (const auto& other : moved_elsewhere(song, clip, planned))
    if (listen(other.playback, other.places, kAcceptOther)) return placed(song, *best);

  const auto stretched = stretched_elsewhere(song, clip, planned);
  if (stretched && stretched->long_enough() && stretched->score() >= kAcceptStretched &&
      (!best->fits() || stretched->score() > best->coarse))
    return placed(song, *stretched);
  if (best->fits()) return placed(song, *best);
  return nothing;
}

}  // namespace everytake::align
