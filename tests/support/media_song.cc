#include "support/media_song.h"
#include "support/rooms.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace everytake::test {
namespace {

constexpr double kBeat = 60.0 / 96;
constexpr double kBar = 4 * kBeat;

// xorshift32 (Marsaglia, 2003): the same numbers on every machine.
class Dice {
 public:
  explicit Dice(unsigned seed) : state_(seed * 2654435761U + 1) {}
  unsigned roll() {
    state_ ^= state_ << 13;
    state_ ^= state_ >> 17;
    state_ ^= state_ << 5;
    return state_;
  }
  int below(int n) { return static_cast<int>(roll() % static_cast<unsigned>(n)); }
  float noise() { return static_cast<float>(roll() >> 8) / 8388608.0F - 1; }  // -1…1

 private:
  unsigned state_;
};

double hertz(int midi_note) {
  return 440 * std::exp2((midi_note - 69) / 12.0);
}

// A tone with its octave and twelfth. The phase turns by multiplication: the same on every machine, and quick.
void add_note(std::vector<float>& song, double at, double length, double hz, float level, double decay) {
  const auto begin = static_cast<std::size_t>(at * kSongRate);
  const auto count = static_cast<std::size_t>(length * kSongRate);
  const double turn_cos = std::cos(2 * M_PI * hz / kSongRate), turn_sin = std::sin(2 * M_PI * hz / kSongRate);
  const double fade = std::exp(-decay / kSongRate);
  double c = 1, s = 0, held = level;
  for (std::size_t i = 0; i < count && begin + i < song.size(); ++i) {
    const double t = static_cast<double>(i) / kSongRate;
    const double edge = std::min({1.0, t / 0.008, (length - t) / 0.02});
    const double wave = s + 0.45 * (2 * s * c) + 0.25 * (3 * s - 4 * s * s * s);
    song[begin + i] += static_cast<float>(held * edge * wave);
    const double next = c * turn_cos - s * turn_sin;
    s = s * turn_cos + c * turn_sin;
    c = next;
    held *= fade;
  }
}

void add_hit(std::vector<float>& song, double at, float level, double decay, Dice& dice) {
  const auto begin = static_cast<std::size_t>(at * kSongRate);
  const auto count = static_cast<std::size_t>(0.15 * kSongRate);
  const auto fade = static_cast<float>(std::exp(-decay / kSongRate));
  for (std::size_t i = 0; i < count && begin + i < song.size(); ++i) {
    song[begin + i] += level * dice.noise();
    level *= fade;
  }
}

enum class Part { intro, verse, chorus, bridge };

Part part_of(int bar) {
  if (bar < 4) return Part::intro;
  if (bar >= 36 && bar < 42) return Part::bridge;
  return (bar - 4) / 8 % 2 == 0 && bar < 36 ? Part::verse : Part::chorus;
}

void add_bar(std::vector<float>& song, int bar, Dice& dice) {
  constexpr std::array<int, 4> kRoots[] = {{45, 41, 48, 43}, {45, 43, 41, 43}, {41, 43, 45, 48}, {38, 45, 41, 40}};
  constexpr std::array<int, 7> kScale{0, 2, 3, 5, 7, 8, 10};
  const Part part = part_of(bar);
  const double start = bar * kBar;
  const int root = kRoots[static_cast<int>(part)][static_cast<std::size_t>(bar % 4)];
  for (const int step : {0, 7, 12, 15}) add_note(song, start, kBar, hertz(root + 12 + step), 0.05F, 0.3);
  for (int beat = 0; beat < 4; ++beat) {
    const double at = start + beat * kBeat;
    add_note(song, at, kBeat * 0.9, hertz(root - 12 + (dice.below(3) == 0 ? 7 : 0)), 0.16F, 2.5);
    if (part == Part::intro && bar < 2) continue;
    add_note(song, at, 0.12, beat % 2 == 0 ? 55 : 180, 0.3F, 30);
    if (beat % 2 == 1) add_hit(song, at, 0.22F, 28, dice);
    for (int half = 0; half < 2; ++half) add_hit(song, at + half * kBeat / 2, 0.06F, 60, dice);
  }
  const int notes = part == Part::intro ? 2 : part == Part::bridge ? 3 : part == Part::chorus ? 7 : 5;
  for (int i = 0; i < notes; ++i) {
    const double at = start + dice.below(8) * kBeat / 2;
    const int octave = part == Part::chorus ? 24 : 12;
    const int note = 45 + octave + kScale[static_cast<std::size_t>(dice.below(7))];
    add_note(song, at, kBeat * (1 + dice.below(3)) / 2, hertz(note), 0.14F, 1.2);
  }
}

// Between samples a straight line; silence outside.
float song_at(const std::vector<float>& song, double seconds) {
  const double position = seconds * kSongRate;
  const double whole = std::floor(position);
  if (whole < 0 || whole + 1 >= static_cast<double>(song.size())) return 0;
  const auto i = static_cast<std::size_t>(whole);
  const auto part = static_cast<float>(position - whole);
  return song[i] * (1 - part) + song[i + 1] * part;
}

}  // namespace

std::vector<float> make_song() {
  std::vector<float> song(static_cast<std::size_t>(kSongSeconds * kSongRate));
  Dice dice(96);
  for (int bar = 0; bar * kBar < kSongSeconds; ++bar) add_bar(song, bar, dice);
  const auto fade = static_cast<std::size_t>(3 * kSongRate);
  for (std::size_t i = 0; i < fade; ++i) song[song.size() - 1 - i] *= static_cast<float>(i) / static_cast<float>(fade);
  for (float& sample : song) sample = std::tanh(1.2F * sample) * 0.8F;
  return song;
}

Sound heard_in_a_room(const std::vector<float>& song, double start, double length, unsigned seed, double speed) {
  struct Path {
    double delay;  // s
    float left, right;
  };
  constexpr Path kPaths[] = {{0, 0.5F, 0.45F}, {0.011, 0.2F, 0.1F}, {0.0237, 0.1F, 0.16F}, {0.0413, 0.08F, 0.07F}};
  Sound sound = room_noise(length, seed, 0.012F);
  float low_left = 0, low_right = 0;
  for (std::size_t i = 0; i < sound.samples.size() / 2; ++i) {
    const double t = static_cast<double>(i) / sound.rate_hz;
    float left = 0, right = 0;
    for (const auto& path : kPaths) {
      const float heard = song_at(song, start + speed * (t - path.delay));
      left += path.left * heard;
      right += path.right * heard;
    }
    low_left += 0.5F * (left - low_left);  // a small microphone: about 5 kHz
    low_right += 0.5F * (right - low_right);
    sound.samples[2 * i] += low_left;
    sound.samples[2 * i + 1] += low_right;
  }
  return sound;
}

Sound room_noise(double length, unsigned seed, float level) {
  Sound sound{kSongRate, 2, std::vector<float>(2 * static_cast<std::size_t>(length * kSongRate))};
  Dice dice(seed + 1);
  for (float& sample : sound.samples) sample = level * dice.noise();
  return sound;
}

}  // namespace everytake::test
