// How well clips are placed, in a table: ours beside plain correlation of the waveforms.
#include <fmt/format.h>
#include <unistd.h>

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
#include "bench/bench.h"
#include "bench/clip_set.h"
#include "media/sound/audio.h"
#include "os/posix_fs.h"
#include "support/media_movie.h"
#include "support/rooms.h"
#include "support/temp_dir.h"

namespace everytake::bench {
namespace {

using State = Placement::State;

constexpr double kFrame = 1001.0 / 24000;  // s
constexpr double kLeastSounding = 2.5;     // s

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

// Clips of which the song holds no second copy. Of a repeated clip no place is the right one; see Repeated.
struct Row {
  int clips = 0, in_frame = 0, in_5_ms = 0, listed = 0, wrong = 0, missed = 0, speed_right = 0;
  std::vector<double> errors, drifts;
};

// Clips whose stretch of song stands in it several times: every copy should be listed, and none be chosen.
struct Repeated {
  int clips = 0, listed = 0, partly = 0, lucky = 0, wrong = 0, missed = 0;
};

bool lists(const Case& each, const Answer& answer, double off) {
  return std::any_of(answer.candidates.begin(), answer.candidates.end(), [&](double start) {
    return error_of(each, start - off, answer.speed, answer.drift_ppm) < kFrame;
  });
}

// Returns whether it is as it should be.
bool count_repeated(Repeated& row, const Case& each, const Answer& answer) {
  ++row.clips;
  if (answer.state == State::ambiguous) {
    const bool all = lists(each, answer, 0) && std::all_of(each.also.begin(), each.also.end(), [&](double also) {
                       return lists(each, answer, also - each.how.start);
                     });
    ++(all ? row.listed : row.partly);
    return all;
  }
  if (answer.state != State::placed) {
    ++row.missed;
    return false;
  }
  ++(error_of(each, answer.start, answer.speed, answer.drift_ppm) < kFrame ? row.lucky : row.wrong);
  return false;
}

bool count_negative(Row& row, const Answer& answer) {
  ++row.clips;
  row.wrong += answer.state == State::placed;
  row.listed += answer.state == State::ambiguous;
  row.missed += answer.state == State::none || answer.state == State::no_audio;
  return answer.state != State::placed;
}

bool count(Row& row, const Case& each, const Answer& answer) {
  ++row.clips;
  row.speed_right += answer.state != State::none && answer.speed == each.how.speed;
  if (answer.state == State::ambiguous) {
    const bool there = lists(each, answer, 0);
    row.listed += there;
    row.missed += !there;
    return false;
  }
  if (answer.state != State::placed) {
    ++row.missed;
    return false;
  }
  const double error = error_of(each, answer.start, answer.speed, answer.drift_ppm);
  row.in_frame += error < kFrame;
  row.in_5_ms += error < 0.005;
  row.wrong += error >= kFrame;
  if (error < kFrame) {
    row.errors.push_back(error * 1e3);
    if (each.matched_to - each.matched_from >= 60)
      row.drifts.push_back(std::abs(answer.drift_ppm - each.how.drift_ppm));
  }
  return error < 0.005;
}

struct Table {
  std::map<Class, Row> rows;
  std::map<Class, Repeated> repeated;

  bool add(const Case& each, const Answer& answer) {
    if (each.what == Class::negative) return count_negative(rows[each.what], answer);
    return each.also.empty() ? count(rows[each.what], each, answer) : count_repeated(repeated[each.what], each, answer);
  }
};

double middle_of(std::vector<double> values) {
  if (values.empty()) return 0;
  std::sort(values.begin(), values.end());
  return values[values.size() / 2];
}

std::string row_text(const char* name, const Row& row) {
  return fmt::format("{:<20} {:>5} {:>9} {:>9} {:>10} {:>6} {:>7} {:>6} {:>10.3f} {:>10.1f}\n", name, row.clips,
                     row.in_frame, row.in_5_ms, row.listed, row.wrong, row.missed, row.speed_right,
                     middle_of(row.errors),
                     row.drifts.empty() ? 0 : *std::max_element(row.drifts.begin(), row.drifts.end()));
}

std::string table_text(const Table& table) {
  std::string text =
      "clips                 number  in frame   in 5 ms  ambiguous  wrong  missed  speed  median ms  drift off\n";
  for (const auto& [what, row] : table.rows) text += row_text(to_string(what), row);
  if (table.repeated.empty()) return text;
  text += "of these repeated     number  all listed  some listed  lucky  wrong  missed\n";
  for (const auto& [what, row] : table.repeated)
    text += fmt::format("{:<20} {:>7} {:>11} {:>12} {:>6} {:>6} {:>7}\n", to_string(what), row.clips, row.listed,
                        row.partly, row.lucky, row.wrong, row.missed);
  return text;
}

struct Options {
  bool real = false, tuning = false, misses = false, ours = false;
  std::optional<unsigned> kits;  // the first of others than those of either set
  std::optional<Path> keep;
  std::string only;  // clips whose names begin so
  int every = 1;     // of them, one in so many

  MadeSet set() const { return kits ? MadeSet{*kits, *kits} : tuning ? kTuningSet : kJudgingSet; }
  std::string name() const { return kits ? fmt::format("kits-{}", *kits) : tuning ? "tuning" : "judging"; }
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
  const Path part = file.parent_path() / fmt::format("part-{}.m4a", getpid());
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

std::string miss_text(const Case& each, const std::vector<Song>& songs, const Answer& answer) {
  const auto& how = each.how;
  std::string text = fmt::format(
      "{:<12} {} {:.1f}-{:.1f} s of {:.1f} at {:.2f} x{} noise {:.0f} talk {:.0f} decay {:.1f} direct {:.1f}{} also "
      "{}: "
      "{} {:.3f} x{} {:.2f}",
      each.name, Path(songs[each.song].name).stem().string(), each.matched_from, each.matched_to, how.length, how.start,
      how.speed, how.noise_db, how.talk_db, how.decay, how.direct, each.hall ? " hall" : "", each.also.size(),
      everytake::to_string(answer.state), answer.start, answer.speed, answer.score);
  if (answer.state == State::placed && each.what != Class::negative)
    text += fmt::format(", {:.1f} ms off", 1e3 * error_of(each, answer.start, answer.speed, answer.drift_ppm));
  if (answer.state == State::ambiguous)
    text += fmt::format(", {} candidates, the true one {}among them", answer.candidates.size(),
                        lists(each, answer, 0) ? "" : "not ");
  return text + "\n";
}

void run(const std::vector<Song>& songs, const Options& options, const Path& folder) {
  const auto hall = options.real ? hall_response() : test::Track{};
  std::vector<SongIndex> indexes;
  for (std::size_t i = 0; i < songs.size(); ++i) {
    const Path file = folder / fmt::format("song-{:02}.wav", i);
    if (!boost::filesystem::exists(file)) write_song(file, songs[i].sound);
    indexes.emplace_back(read_sound(file));
  }
  Table ours, theirs;
  Times times;
  const double planned[] = {1.0};
  int number = 0, silent = 0;
  for (auto& each : cases(songs, options.set().seed, !hall.empty())) {
    if (!each.name.starts_with(options.only) || number++ % options.every != 0) continue;
    if (each.what != Class::negative && sounding(each, songs[each.song]) < kLeastSounding) {
      ++silent;
      continue;
    }
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
    if (each.what != Class::negative) note_repeats(each, songs[each.song]);
    if (!ours.add(each, answer) && options.misses) std::cout << miss_text(each, songs, answer) << std::flush;
    if (!options.ours) theirs.add(each, plain(indexes[each.song].sound(), sound));
  }
  if (silent > 0)
    std::cout << fmt::format("\n{} clips left out: the song itself is silent where they would lie\n", silent);
  std::cout << "\neverytake\n" << table_text(ours);
  if (!options.ours) std::cout << "\nplain correlation of waveforms\n" << table_text(theirs);
  std::cout << fmt::format(
      "\nambiguous: the true place is among the candidates. repeated: the same stretch stands in the song several "
      "times."
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
    else if (words[i] == "--kits" && i + 1 < words.size())
      options.kits = static_cast<unsigned>(std::max(1, std::atoi(words[++i].c_str())));
    else if (words[i] == "--keep" && i + 1 < words.size())
      options.keep = Path(words[++i]);
    else if (words[i] == "--only" && i + 1 < words.size())
      options.only = words[++i];
    else if (words[i] == "--every" && i + 1 < words.size())
      options.every = std::max(1, std::atoi(words[++i].c_str()));
    else
      return std::nullopt;
  }
  return options;
}

}  // namespace

int align(std::span<const std::string> words) {
  const auto options = options_of(words);
  if (!options) {
    std::cerr << "usage: bench align [--real] [--tuning | --kits N] [--keep DIR] [--ours] [--misses] [--only NAME]\n"
                 "                   [--every N]\n";
    return 2;
  }
  std::vector<std::string> missing;
  const auto songs = options->real ? recorded_songs(options->tuning, missing) : made_songs(options->set().first_kit);
  if (!missing.empty()) {
    std::cerr << fmt::format("install the music first: bash tests/bench/music ({})\n", fmt::join(missing, " "));
    return 1;
  }
  std::cout << fmt::format("{} songs ({}), {}\n", songs.size(), options->name(),
                           options->real ? "recorded" : "synthesised");
  const test::TempDir temporary;
  const Path folder = options->keep
                          ? *options->keep / fmt::format("{}-{}", options->real ? "real" : "made", options->name())
                          : temporary.path();
  boost::filesystem::create_directories(folder);
  run(songs, *options, folder);
  return 0;
}

}  // namespace everytake::bench
