// How well clips are placed, in a table: ours beside plain correlation of the waveforms.
#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <boost/filesystem.hpp>
#include <chrono>
#include <cmath>
#include <ctime>
#include <iostream>
#include <map>

#include "align/place.h"
#include "align/resample.h"
#include "base/posix_fs.h"
#include "bench/bench.h"
#include "bench/clip_set.h"
#include "media/audio.h"
#include "support/media_movie.h"
#include "support/temp_dir.h"

namespace everytake::bench {
namespace {

using State = Placement::State;

constexpr double kFrame = 1001.0 / 24000;  // s

double cpu_seconds() {
  timespec now{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

struct Answer {
  State state = State::none;
  double start = 0, speed = 1, drift_ppm = 0, score = 0;
  std::vector<double> candidates;
};

Answer answer_of(const Placement& p) {
  Answer answer{p.state, seconds(p.start), p.speed, p.drift_ppm, p.confidence.value_or(0), {}};
  for (const auto& c : p.candidates) answer.candidates.push_back(seconds(c.start));
  return answer;
}

// The whole clip against the whole song, sample by sample: the tallest peak of the correlation where it stands out by
// seven deviations.
Answer plain(std::span<const float> song, std::span<const float> clip) {
  Answer answer;
  const std::size_t length = std::bit_ceil(song.size() + clip.size());
  RealFft fft(length);
  const auto fill = [&](std::span<const float> of) {
    std::fill(fft.time().begin(), fft.time().end(), 0.0F);
    std::copy(of.begin(), of.end(), fft.time().begin());
    fft.forward();
  };
  fill(clip);
  const std::vector<Bin> ours(fft.spectrum().begin(), fft.spectrum().end());
  fill(song);
  for (std::size_t k = 0; k < ours.size(); ++k) fft.spectrum()[k] *= std::conj(ours[k]);
  fft.inverse();
  const auto lags = fft.time();
  double squares = 0;
  for (const float v : lags) squares += static_cast<double>(v) * v;
  const auto top = std::max_element(lags.begin(), lags.end()) - lags.begin();
  const double score = lags[static_cast<std::size_t>(top)] / (std::sqrt(squares / static_cast<double>(length)) + 1e-20);
  if (score < 7) return answer;
  answer.state = State::placed;
  const auto lag =
      static_cast<double>(top) - (static_cast<std::size_t>(top) >= song.size() ? static_cast<double>(length) : 0);
  answer.start = lag / kAlignRate;
  return answer;
}

// How far off at the middle of what was heard, in seconds; of the nearest place where the song is the same.
double error_of(const Case& each, double start, double speed, double drift_ppm) {
  const double middle = (each.matched_from + each.matched_to) / 2;
  const double said = start + speed * (1 + drift_ppm * 1e-6) * middle;
  return std::abs(said - (each.how.start + each.how.speed * (1 + each.how.drift_ppm * 1e-6) * middle));
}

struct Row {
  int clips = 0, in_frame = 0, in_5_ms = 0, listed = 0, wrong = 0, missed = 0, speed_right = 0, repeated = 0;
  std::vector<double> errors, drifts;
};

void count(Row& row, const Case& each, const Answer& answer, bool& bad) {
  ++row.clips;
  bad = false;
  if (each.what == Class::negative) {
    bad = answer.state == State::placed;
    row.wrong += bad;
    row.listed += answer.state == State::ambiguous;
    row.missed += answer.state == State::none || answer.state == State::no_audio;
    return;
  }
  if (answer.state == State::ambiguous) {
    const bool there = std::any_of(answer.candidates.begin(), answer.candidates.end(), [&](double start) {
      return error_of(each, start, answer.speed, answer.drift_ppm) < kFrame;
    });
    const bool all = std::all_of(each.also.begin(), each.also.end(), [&](double also) {
      return std::any_of(answer.candidates.begin(), answer.candidates.end(),
                         [&](double start) { return std::abs(start - also) < 2 * kFrame; });
    });
    row.listed += there && all;
    row.repeated += !each.also.empty() && there && all;
    row.speed_right += answer.speed == each.how.speed;
    bad = !there || (!each.also.empty() && !all);
    return;
  }
  if (answer.state != State::placed) {
    ++row.missed;
    bad = true;
    return;
  }
  const double error = error_of(each, answer.start, answer.speed, answer.drift_ppm);
  row.speed_right += answer.speed == each.how.speed;
  row.in_frame += error < kFrame;
  row.in_5_ms += error < 0.005;
  row.wrong += error >= kFrame;
  bad = error >= 0.005;
  if (error < kFrame) {
    row.errors.push_back(error * 1e3);
    if (each.matched_to - each.matched_from >= 60)
      row.drifts.push_back(std::abs(answer.drift_ppm - each.how.drift_ppm));
  }
}

double middle_of(std::vector<double> values) {
  if (values.empty()) return 0;
  std::sort(values.begin(), values.end());
  return values[values.size() / 2];
}

std::string row_text(const char* name, const Row& row) {
  return fmt::format("{:<20} {:>5} {:>9} {:>9} {:>10} {:>6} {:>7} {:>6} {:>9.3f} {:>9.1f}\n", name, row.clips,
                     row.in_frame, row.in_5_ms, fmt::format("{}({})", row.listed, row.repeated), row.wrong, row.missed,
                     row.speed_right, middle_of(row.errors),
                     row.drifts.empty() ? 0 : *std::max_element(row.drifts.begin(), row.drifts.end()));
}

constexpr const char* kHeading =
    "clips                 number  in frame   in 5 ms  ambiguous  wrong  missed  speed  median ms  drift off\n";

struct Options {
  bool real = false, tuning = false, misses = false, ours = false;
  std::optional<Path> keep;
};

struct Times {
  double sound = 0, decoding = 0, placing = 0;
};

// A clip as a camera writes it: AAC of 128 kbit/s at 48 kHz in two channels.
void write_clip(const Path& file, const test::Track& track) {
  const auto fine = slowed_down(track, 48000.0 / test::kTrackRate);
  test::Movie movie;
  movie.video_codec = "";
  movie.sound = test::Sound{48000, 2, {}};
  for (const float v : fine) movie.sound->samples.insert(movie.sound->samples.end(), {v, v});
  // Under its name only when it is whole: a kept folder may be from a run that was stopped.
  const Path part = file.parent_path() / "part.m4a";
  test::make_movie(part, movie);
  boost::filesystem::rename(part, file);
}

void write_song(const Path& file, const test::Track& track) {
  test::Movie movie;
  movie.format = "wav";
  movie.video_codec = "";
  movie.audio_codec = "pcm_s24le";
  movie.sound = test::Sound{test::kTrackRate, 1, track};
  test::make_movie(file, movie);
}

std::vector<float> read_sound(const Path& file) {
  const auto fs = PosixFs::open_at(file.parent_path());
  if (!fs) throw std::runtime_error(fs.error().what);
  auto sound = decode_mono(**fs, file.filename(), kAlignRate, {});
  if (!sound) throw std::runtime_error(sound.error().what);
  return std::move(*sound);
}

void run(const std::vector<Song>& songs, const Options& options, const Path& folder) {
  const auto hall = options.real ? hall_response() : test::Track{};
  std::vector<SongIndex> indexes;
  for (std::size_t i = 0; i < songs.size(); ++i) {
    const Path file = folder / fmt::format("song-{:02}.wav", i);
    if (!boost::filesystem::exists(file)) write_song(file, songs[i].sound);
    indexes.emplace_back(read_sound(file));
  }
  std::map<Class, Row> ours, theirs;
  Times times;
  const double planned[] = {1.0};
  for (const auto& each : cases(songs, options.tuning, !hall.empty())) {
    const Path file = folder / (each.name + ".m4a");
    if (!boost::filesystem::exists(file)) write_clip(file, sound_of(each, songs, hall));
    const double begin = cpu_seconds();
    const auto sound = read_sound(file);
    const double decoded = cpu_seconds();
    const auto answer = answer_of(place(indexes[each.song], sound, planned));
    const double done = cpu_seconds();
    times.decoding += decoded - begin;
    times.placing += done - decoded;
    times.sound += each.how.length;
    bool bad = false, ignored = false;
    count(ours[each.what], each, answer, bad);
    if (!options.ours) count(theirs[each.what], each, plain(indexes[each.song].sound(), sound), ignored);
    if (bad && options.misses)
      std::cout << fmt::format(
          "{:<13} {:<24} {:.1f}-{:.1f} s of {:.1f}, start {:.2f} speed {} noise {:.0f} talk {:.0f} decay {:.1f} direct "
          "{:.1f} hall {} also {}: {} {:.2f} "
          "speed {} confidence {:.2f} candidates {} ({:.0f} ms)\n",
          each.name,
          Path(songs[each.song].name).parent_path().filename().string() + "/" +
              Path(songs[each.song].name).filename().string(),
          each.matched_from, each.matched_to, each.how.length, each.how.start, each.how.speed, each.how.noise_db,
          each.how.talk_db, each.how.decay, each.how.direct, each.hall, each.also.size(),
          everytake::to_string(answer.state), answer.start, answer.speed, answer.score, answer.candidates.size(),
          (done - decoded) * 1e3);
  }
  for (const auto& [title, rows] :
       {std::pair("everytake", &ours), std::pair("plain correlation of waveforms", &theirs)}) {
    if (rows->empty()) continue;
    std::cout << "\n" << title << "\n" << kHeading;
    for (const Class what : kClasses) std::cout << row_text(to_string(what), (*rows)[what]);
  }
  std::cout << fmt::format(
      "\nambiguous: all candidates listed, the true one among them (of those: songs that repeat sample by sample "
      "there)."
      "\n{:.0f} s of sound in {:.1f} s of one core: {:.0f} times real time; decoding {:.0f} % of it\n",
      times.sound, times.decoding + times.placing, times.sound / (times.decoding + times.placing),
      100 * times.decoding / (times.decoding + times.placing));
}

std::optional<Options> options_of(std::span<const std::string> words) {
  Options options;
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (words[i] == "--real")
      options.real = true;
    else if (words[i] == "--tuning")
      options.tuning = true;
    else if (words[i] == "--misses")
      options.misses = true;
    else if (words[i] == "--ours")
      options.ours = true;
    else if (words[i] == "--keep" && i + 1 < words.size())
      options.keep = Path(words[++i]);
    else
      return std::nullopt;
  }
  return options;
}

}  // namespace

int align(std::span<const std::string> words) {
  const auto options = options_of(words);
  if (!options) {
    std::cerr << "usage: bench align [--real] [--tuning] [--keep DIR] [--ours] [--misses]\n";
    return 2;
  }
  std::vector<std::string> missing;
  const auto songs = options->real ? recorded_songs(options->tuning, missing) : made_songs(options->tuning);
  if (!missing.empty()) {
    std::cerr << fmt::format("install the music first: bash tests/bench/music ({})\n", fmt::join(missing, " "));
    return 1;
  }
  std::cout << fmt::format("{} songs for {}, {}\n", songs.size(), options->tuning ? "tuning" : "judging",
                           options->real ? "recorded" : "synthesised");
  const test::TempDir temporary;
  const Path folder = options->keep ? *options->keep / fmt::format("{}-{}", options->real ? "real" : "made",
                                                                   options->tuning ? "tuning" : "judging")
                                    : temporary.path();
  boost::filesystem::create_directories(folder);
  run(songs, *options, folder);
  return 0;
}

}  // namespace everytake::bench
