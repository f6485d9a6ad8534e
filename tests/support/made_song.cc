#include "support/made_song.h"
#include "support/rooms.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace everytake::test {
namespace {

constexpr std::array<int, 7> kMinor{0, 2, 3, 5, 7, 8, 10};

double hertz(int midi_note) {
  return 440 * std::exp2((midi_note - 69) / 12.0);
}

struct Timbre {
  std::array<double, 6> partials{};
  double attack, decay, tremble;
};

Timbre timbre_of(Random& random) {
  Timbre timbre{{}, random.uniform(0.004, 0.05), random.uniform(0.5, 4), random.uniform(0, 0.01)};
  for (std::size_t i = 0; i < timbre.partials.size(); ++i)
    timbre.partials[i] = random.uniform(0.2, 1) / static_cast<double>(i + 1);
  return timbre;
}

void note(Track& to, double at, double length, double hz, double level, const Timbre& timbre) {
  const auto begin = static_cast<std::size_t>(std::lround(at * kTrackRate));
  const auto count = static_cast<std::size_t>(length * kTrackRate);
  for (std::size_t i = 0; i < count && begin + i < to.size(); ++i) {
    const double t = static_cast<double>(i) / kTrackRate;
    const double edge = std::min({1.0, t / timbre.attack, (length - t) / 0.02}) * std::exp(-timbre.decay * t);
    const double phase = 2 * M_PI * hz * (t + timbre.tremble / 5 * std::sin(2 * M_PI * 5 * t) / (2 * M_PI));
    double wave = 0;
    for (std::size_t p = 0; p < timbre.partials.size() && hz * static_cast<double>(p + 1) < 7000; ++p)
      wave += timbre.partials[p] * std::sin(phase * static_cast<double>(p + 1));
    to[begin + i] += static_cast<float>(level * edge * wave);
  }
}

void hit(Track& to, double at, double level, double decay, double tone_hz, double noisiness, Random random) {
  const auto begin = static_cast<std::size_t>(std::lround(at * kTrackRate));
  for (std::size_t i = 0; i < static_cast<std::size_t>(0.25 * kTrackRate) && begin + i < to.size(); ++i) {
    const double t = static_cast<double>(i) / kTrackRate;
    const double tone = std::sin(2 * M_PI * tone_hz * t * std::exp(-2 * t));
    to[begin + i] +=
        static_cast<float>(level * std::exp(-decay * t) * ((1 - noisiness) * tone + noisiness * random.normal()));
  }
}

// One bar of the kit's drums: the same samples each time.
Track drum_loop(unsigned kit, double bar) {
  Random random(kit * 77 + 5);
  Track loop(static_cast<std::size_t>(std::lround(bar * kTrackRate)));
  const double step = bar / 16;
  for (int i = 0; i < 16; ++i) {
    if (i % 8 == 0 || random.below(6) == 0) hit(loop, i * step, 0.5, 18, 65, 0.1, Random(kit * 3 + 1));
    if (i % 8 == 4) hit(loop, i * step, 0.4, 22, 190, 0.7, Random(kit * 3 + 2));
    if (i % 2 == 0 || random.below(3) == 0) hit(loop, i * step, 0.12, 60, 4000, 1, Random(kit * 3 + 3));
  }
  return loop;
}

void paste(Track& to, double at, const Track& what) {
  const auto begin = static_cast<std::size_t>(std::lround(at * kTrackRate));
  for (std::size_t i = 0; i < what.size() && begin + i < to.size(); ++i) to[begin + i] += what[i];
}

// `bars` bars of a part of one song, with the melody `tune`.
Track part_of(unsigned kit, unsigned song, unsigned tune, char name, int bars, double bar) {
  Random chords(kit * 131 + song * 7 + static_cast<unsigned>(name)), melody(tune * 977 + static_cast<unsigned>(name));
  Random sounds(kit * 17 + 3), voice(tune * 31 + 9);
  const auto pad = timbre_of(sounds), bass = timbre_of(sounds), lead = timbre_of(voice);
  const int key = 40 + static_cast<int>(kit % 9);
  Track part(static_cast<std::size_t>(std::lround(bars * bar * kTrackRate)));
  const auto loop = drum_loop(kit, bar);
  std::array<int, 4> degrees{};
  for (int& d : degrees) d = chords.below(7);
  for (int b = 0; b < bars; ++b) {
    if (name != 'i' || b >= 2) paste(part, b * bar, loop);
    const int degree = degrees[static_cast<std::size_t>(b % 4)];
    const auto step = [&](int n) {
      return key + kMinor[static_cast<std::size_t>((degree + n) % 7)] + 12 * ((degree + n) / 7);
    };
    for (const int n : {0, 2, 4}) note(part, b * bar, bar, hertz(step(n) + 12), 0.05, pad);
    for (int q = 0; q < 4; ++q)
      note(part, b * bar + q * bar / 4, bar / 4, hertz(step(q == 3 ? 4 : 0) - 12), 0.12, bass);
    const int notes = name == 'i' ? 1 : name == 'c' ? 7 : 5;
    for (int i = 0; i < notes; ++i)
      note(part, b * bar + melody.below(16) * bar / 16, bar / 8 * (1 + melody.below(3)),
           hertz(key + 24 + kMinor[static_cast<std::size_t>(melody.below(7))]), 0.1, lead);
  }
  return part;
}

}  // namespace

std::vector<double> MadeSong::repeats_of(double from, double to) const {
  const auto holding = [&](double time) {
    std::size_t i = 0;
    while (i + 1 < parts.size() && parts[i].end <= time) ++i;
    return i;
  };
  const std::size_t first = holding(from), last = holding(to - 1e-6);
  std::vector<double> starts;
  for (std::size_t other = 0; other + (last - first) < parts.size(); ++other) {
    bool same = other != first;
    for (std::size_t i = first; same && i <= last; ++i) {
      const char name = parts[i].name;
      same = parts[other + i - first].name == name && (name == 'c' || name == 'V');
    }
    if (same) starts.push_back(from + parts[other].start - parts[first].start);
  }
  return starts;
}

bool MadeSong::repeats(double from, double to) const {
  return !repeats_of(from, to).empty();
}

MadeSong make_song_of(unsigned kit, unsigned tune, bool of_loops) {
  Random random(kit * 1009 + 7);
  MadeSong song;
  // A whole number of samples a bar, so that copies are exact.
  song.bar = std::round(240.0 / random.uniform(84, 132) * kTrackRate) / kTrackRate;
  struct Piece {
    char name;
    int bars;
    unsigned tune;
  };
  const unsigned second = of_loops ? tune : tune + 5000;
  const char verse = of_loops ? 'V' : 'v';
  const Piece pieces[] = {{'i', 4, tune}, {verse, 8, tune}, {'c', 8, tune}, {verse, 8, second},
                          {'c', 8, tune}, {'b', 6, tune},   {'c', 8, tune}, {'i', 4, tune + 9000}};
  for (const auto& [name, bars, melody] : pieces) {
    const auto part = part_of(kit, tune, melody, name, bars, song.bar);
    const double start = static_cast<double>(song.sound.size()) / kTrackRate;
    song.sound.insert(song.sound.end(), part.begin(), part.end());
    song.parts.push_back({name, start, static_cast<double>(song.sound.size()) / kTrackRate});
  }
  for (float& v : song.sound) v = std::tanh(1.3F * v) * 0.8F;
  return song;
}

}  // namespace everytake::test
