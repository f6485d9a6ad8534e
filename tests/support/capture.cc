#include "support/capture.h"

#include <algorithm>
#include <bit>
#include <cmath>

#include "align/fft.h"
#include "support/rooms.h"

namespace everytake::test {
namespace {

// ---- Filters: second-order sections (Zölzer, "Digital Audio Signal Processing", bilinear Butterworth) --------------

enum class Pass { low, high };

void filter(Track& sound, Pass pass, double hz) {
  if (hz >= kTrackRate / 2.0 * 0.98) return;
  const double k = std::tan(M_PI * hz / kTrackRate), root = std::sqrt(2.0), norm = 1 / (1 + root * k + k * k);
  const double b0 = pass == Pass::low ? k * k * norm : norm, b1 = pass == Pass::low ? 2 * b0 : -2 * b0;
  const double a1 = 2 * (k * k - 1) * norm, a2 = (1 - root * k + k * k) * norm;
  double x1 = 0, x2 = 0, y1 = 0, y2 = 0;
  for (float& sample : sound) {
    const double x = sample, y = b0 * x + b1 * x1 + b0 * x2 - a1 * y1 - a2 * y2;
    x2 = x1;
    x1 = x;
    y2 = y1;
    y1 = y;
    sample = static_cast<float>(y);
  }
}

Track convolved(const Track& sound, const Track& response) {
  const std::size_t size = sound.size() + response.size();
  const std::size_t length = std::bit_ceil(size);
  RealFft fft(length);
  const auto spectrum = [&](const Track& of) {
    std::fill(fft.time().begin(), fft.time().end(), 0.0F);
    std::copy(of.begin(), of.end(), fft.time().begin());
    fft.forward();
  };
  spectrum(response);
  const std::vector<Bin> kept(fft.spectrum().begin(), fft.spectrum().end());
  spectrum(sound);
  for (std::size_t i = 0; i < kept.size(); ++i) fft.spectrum()[i] *= kept[i] / static_cast<float>(length);
  fft.inverse();
  return {fft.time().begin(), fft.time().begin() + static_cast<long>(sound.size())};
}

double power(std::span<const float> sound) {
  double sum = 0;
  for (const float v : sound) sum += static_cast<double>(v) * v;
  return sum / static_cast<double>(std::max<std::size_t>(1, sound.size()));
}

// ---- Playback -----------------------------------------------------------------------------------------------------

// The song as it leaves the player, in clip time.
Track played(const Track& song, const Capture& how) {
  Track out(static_cast<std::size_t>(how.length * kTrackRate));
  const double rate = how.speed * (1 + how.drift_ppm * 1e-6);
  for (std::size_t i = 0; i < out.size(); ++i)
    out[i] = track_at(song, how.start * kTrackRate + rate * static_cast<double>(i));
  return out;
}

// The same with the pitch kept: overlapping pieces of 60 ms, each taken where it best continues the one before
// (waveform similarity overlap-add; Verhelst & Roelands, ICASSP 1993).
Track stretched(const Track& song, const Capture& how) {
  constexpr int kPiece = 960, kHop = kPiece / 2, kSearch = 160;
  Track out(static_cast<std::size_t>(how.length * kTrackRate));
  const auto at = [&](long i) {
    return i >= 0 && i < static_cast<long>(song.size()) ? song[static_cast<std::size_t>(i)] : 0.0F;
  };
  const double rate = how.speed * (1 + how.drift_ppm * 1e-6);
  long follow = 0;  // where the piece before goes on in the song
  for (long n = -kHop; n < static_cast<long>(out.size()); n += kHop) {
    // A piece is centred on its song time, so that the delay is none on average.
    const long want = std::lround(how.start * kTrackRate + rate * static_cast<double>(n + kHop)) - kHop;
    long best = want;
    double best_sum = -1e9;
    for (long shift = -kSearch; n >= 0 && shift <= kSearch; shift += 2) {
      double sum = 0;
      for (long i = 0; i < kHop; i += 3) sum += at(want + shift + i) * at(follow + i);
      if (sum > best_sum) {
        best_sum = sum;
        best = want + shift;
      }
    }
    for (long i = 0; i < kPiece; ++i)
      if (n + i >= 0 && n + i < static_cast<long>(out.size()))
        out[static_cast<std::size_t>(n + i)] +=
            at(best + i) * static_cast<float>(0.5 - 0.5 * std::cos(2 * M_PI * (static_cast<double>(i) + 0.5) / kPiece));
    follow = best + kHop;
  }
  return out;
}

// A decay of filtered noise behind the direct sound and a few early reflections.
Track room_response(const Capture& how, Random& random) {
  Track response(static_cast<std::size_t>(how.decay * kTrackRate) + 400);
  const double fall = std::log(1000.0) / (how.decay * kTrackRate);
  double energy = 0;
  for (std::size_t i = 80; i < response.size(); ++i) {
    response[i] = static_cast<float>(random.normal() * std::exp(-fall * static_cast<double>(i)));
    energy += static_cast<double>(response[i]) * response[i];
  }
  for (float& v : response) v *= static_cast<float>(1 / std::sqrt(energy + 1e-9));
  for (int i = 0; i < 4; ++i)
    response[static_cast<std::size_t>(20 + random.below(360))] += static_cast<float>(random.uniform(-0.4, 0.4));
  response[0] += static_cast<float>(how.direct);
  return response;
}

// ---- The set ------------------------------------------------------------------------------------------------------

Track hiss(std::size_t size, Random& random) {
  Track noise(size);
  double slow = 0;
  for (std::size_t i = 0; i < size; ++i) {
    const double white = random.normal();
    slow = 0.97 * slow + 0.25 * white;  // louder towards the low end, as ventilation is
    noise[i] =
        static_cast<float>(slow + 0.2 * white + 0.3 * std::sin(2 * M_PI * 50 * static_cast<double>(i) / kTrackRate));
  }
  return noise;
}

// Syllables: a buzz at a voice's pitch through two resonances, with pauses.
Track talk(std::size_t size, Random& random) {
  Track voice(size);
  std::size_t at = 0;
  while (at < size) {
    const auto count = static_cast<std::size_t>(random.uniform(0.08, 0.3) * kTrackRate);
    const double pitch = random.uniform(90, 230), first = random.uniform(300, 900), second = random.uniform(900, 2600);
    const double loud = random.uniform(0.3, 1);
    double phase = 0, a1 = 0, a2 = 0, b1 = 0, b2 = 0;
    for (std::size_t i = 0; i < count && at + i < size; ++i) {
      phase += pitch / kTrackRate;
      double drive = 0.05 * random.normal();
      if (phase >= 1) {
        phase -= 1;
        drive += 1;
      }
      const auto ring = [&](double hz, double& y1, double& y2) {
        const double r = 0.985, y = drive + 2 * r * std::cos(2 * M_PI * hz / kTrackRate) * y1 - r * r * y2;
        y2 = y1;
        y1 = y;
        return y;
      };
      const double shape = std::sin(M_PI * static_cast<double>(i) / static_cast<double>(count));
      voice[at + i] = static_cast<float>(loud * shape * (ring(first, a1, a2) + 0.6 * ring(second, b1, b2)));
    }
    at += count + static_cast<std::size_t>((random.below(5) == 0 ? random.uniform(0.3, 2) : 0.03) * kTrackRate);
  }
  return voice;
}

void add(Track& to, const Track& what, double wanted_power) {
  const double have = power(what);
  if (have <= 0) return;
  const auto gain = static_cast<float>(std::sqrt(wanted_power / have));
  for (std::size_t i = 0; i < to.size() && i < what.size(); ++i) to[i] += gain * what[i];
}

// Fast down, slowly up again, as recorders do it.
void control_gain(Track& sound) {
  double level = 0.05;
  for (float& v : sound) {
    const double size = std::abs(v);
    level += (size - level) * (size > level ? 1 / (0.005 * kTrackRate) : 1 / (1.0 * kTrackRate));
    v = static_cast<float>(v * 0.25 / (level + 0.02));
  }
}

void finish(Track& sound, bool gain_control, double clipping) {
  if (gain_control) control_gain(sound);
  float peak = 1e-9F;
  for (const float v : sound) peak = std::max(peak, std::abs(v));
  const auto limit = static_cast<float>(1 - clipping);
  for (float& v : sound) v = std::clamp(v / peak, -limit, limit) * 0.9F / limit;
}

}  // namespace

std::uint32_t Random::next() {
  const std::uint64_t old = state_;
  state_ = old * 6364136223846793005ULL + 1442695040888963407ULL;
  const auto shifted = static_cast<std::uint32_t>(((old >> 18U) ^ old) >> 27U);
  return std::rotr(shifted, static_cast<int>(old >> 59U));
}

double Random::normal() {
  double sum = 0;
  for (int i = 0; i < 6; ++i) sum += uniform(-1, 1);
  return sum / std::sqrt(2.0);
}

float track_at(const Track& song, double sample) {
  constexpr int kReach = 16;
  const double whole = std::floor(sample), part = sample - whole;
  const auto i = static_cast<long>(whole);
  if (i < -kReach || i > static_cast<long>(song.size()) + kReach) return 0;
  const double turn = std::sin(M_PI * part) / M_PI;
  double sum = 0;
  for (long k = -kReach + 1; k <= kReach; ++k) {
    const long n = i + k;
    if (n < 0 || n >= static_cast<long>(song.size())) continue;
    const double x = static_cast<double>(k) - part;
    // sin(π(k − part)) = −(−1)^k · sin(π·part)
    const double sinc = std::abs(x) < 1e-9 ? 1 : (k % 2 == 0 ? -turn : turn) / x;
    const double window = 0.5 + 0.5 * std::cos(M_PI * x / (kReach + 0.5));
    sum += song[static_cast<std::size_t>(n)] * sinc * window;
  }
  return static_cast<float>(sum);
}

Track captured(const Track& song, const Capture& how) {
  Random random(how.seed);
  Track sound = how.pitch_moves ? played(song, how) : stretched(song, how);
  const auto size = static_cast<double>(sound.size());
  const auto from = static_cast<std::size_t>(std::clamp(how.plays_from * kTrackRate, 0.0, size));
  const auto to = static_cast<std::size_t>(std::clamp(how.plays_to * kTrackRate, static_cast<double>(from), size));
  std::fill(sound.begin(), sound.begin() + static_cast<long>(from), 0.0F);
  std::fill(sound.begin() + static_cast<long>(to), sound.end(), 0.0F);
  filter(sound, Pass::high, how.speaker_low);
  filter(sound, Pass::low, how.speaker_high);
  sound = convolved(sound, how.room ? *how.room : room_response(how, random));
  const double begins =
      std::clamp(-how.start / how.speed * kTrackRate, static_cast<double>(from), static_cast<double>(to));
  const double music =
      power(std::span(sound).subspan(static_cast<std::size_t>(begins), to - static_cast<std::size_t>(begins)));
  add(sound, hiss(sound.size(), random), music * std::pow(10, -how.noise_db / 10));
  if (how.talk_db < 90) add(sound, talk(sound.size(), random), music * std::pow(10, -how.talk_db / 10));
  finish(sound, how.gain_control, how.clipping);
  return sound;
}

Track set_noise(double length, unsigned seed, bool with_talk) {
  Random random(seed);
  Track sound(static_cast<std::size_t>(length * kTrackRate));
  add(sound, hiss(sound.size(), random), 1);
  if (with_talk) add(sound, talk(sound.size(), random), 4);
  finish(sound, true, 0);
  return sound;
}

}  // namespace everytake::test
