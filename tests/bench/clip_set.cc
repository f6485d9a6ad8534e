#include "bench/clip_set.h"

#include <fmt/format.h>

#include <algorithm>
#include <boost/filesystem.hpp>
#include <cmath>

#include "bench/copies.h"
#include "media/sound/audio.h"
#include "os/posix_fs.h"
#include "support/rooms.h"

namespace everytake::bench {
namespace {

using test::Capture;
using test::Random;
using test::Track;

struct Recorded {
  const char* package;
  const char* path;
};
constexpr const char* kGames = "/usr/share/games/";
constexpr Recorded kTuning[] = {
    {"wesnoth-1.16-music", "wesnoth/1.16/data/core/music/battle.ogg"},
    {"wesnoth-1.16-music", "wesnoth/1.16/data/core/music/elvish-theme.ogg"},
    {"wesnoth-1.16-music", "wesnoth/1.16/data/core/music/frantic.ogg"},
    {"wesnoth-1.16-music", "wesnoth/1.16/data/core/music/sad.ogg"},
    {"fretsonfire-songs-muldjord", "fretsonfire/data/songs/muldjord/armygeddon/song.ogg"},
    {"fretsonfire-songs-sectoid", "fretsonfire/data/songs/sectoid/Feelings/song.ogg"},
    {"singularity-music", "singularity/music/Coherence.ogg"},
    {"singularity-music", "singularity/music/Nebula.ogg"},
};
constexpr Recorded kJudging[] = {
    {"wesnoth-1.16-music", "wesnoth/1.16/data/core/music/knolls.ogg"},
    {"wesnoth-1.16-music", "wesnoth/1.16/data/core/music/northerners.ogg"},
    {"wesnoth-1.16-music", "wesnoth/1.16/data/core/music/the_city_falls.ogg"},
    {"wesnoth-1.16-music", "wesnoth/1.16/data/core/music/love_theme.ogg"},
    {"wesnoth-1.16-music", "wesnoth/1.16/data/core/music/vengeful.ogg"},
    {"fretsonfire-songs-muldjord", "fretsonfire/data/songs/muldjord/chaos_god/song.ogg"},
    {"fretsonfire-songs-muldjord", "fretsonfire/data/songs/muldjord/mutilated_mime/song.ogg"},
    {"fretsonfire-songs-sectoid", "fretsonfire/data/songs/sectoid/Metal madness/song.ogg"},
    {"fretsonfire-songs-sectoid", "fretsonfire/data/songs/sectoid/War of freedom/song.ogg"},
    {"singularity-music", "singularity/music/Awakening.ogg"},
    {"singularity-music", "singularity/music/Enemy Unknown.ogg"},
    {"singularity-music", "singularity/music/Through Space.ogg"},
};

std::optional<Track> decoded(const Path& file) {
  if (!boost::filesystem::exists(file)) return std::nullopt;
  const auto fs = PosixFs::open_at(file.parent_path());
  if (!fs) return std::nullopt;
  auto sound = decode_mono(**fs, file.filename(), test::kTrackRate, {});
  return sound ? std::optional(std::move(*sound)) : std::nullopt;
}

struct Counts {
  Class what;
  int clips;
  double shortest, longest;  // s
};
constexpr Counts kPositives[] = {{Class::over_60, 50, 62, 150},    {Class::over_15, 80, 16, 60},
                                 {Class::over_6, 60, 6, 15},       {Class::under_6, 50, 3, 6},
                                 {Class::pitch_moved, 50, 10, 60}, {Class::pitch_kept, 50, 10, 60}};
constexpr int kNegatives = 200;
constexpr double kSpeeds[] = {0.5, 0.8, 1.25, 1.5, 2.0};

// Where in the clip the song plays, and where in the song the clip begins, so that `matched` seconds are heard.
void lay_out(Case& each, double matched, const Song& song, Random& random) {
  auto& how = each.how;
  const double length = song.seconds(), in_song = matched * how.speed;
  const double begins = random.uniform(0, std::max(0.1, length - in_song));
  const int way = random.below(10);
  how.start = begins;
  how.length = matched;
  if (way == 0) {  // rolled before the song
    const double before = random.uniform(1, 12);
    how.start = -before * how.speed;
    how.length = matched + before;
  } else if (way == 1) {  // rolled on after its end
    how.start = length - in_song;
    how.length = matched + random.uniform(1, 10);
  } else if (way == 2 || way == 3) {  // started late, stopped early
    const double before = random.uniform(1, 8), after = random.uniform(1, 8);
    how.start = begins - before * how.speed;
    how.length = before + matched + after;
    how.plays_from = before;
    how.plays_to = before + matched;
  }
  each.matched_from = std::max(how.plays_from, -how.start / how.speed);
  each.matched_to = std::min({how.plays_to, how.length, (length - how.start) / how.speed});
}

void make_hard(Capture& how, Random& random) {
  how.drift_ppm = random.uniform(-100, 100);
  how.decay = random.uniform(0.3, 1.5);
  how.direct = random.uniform(0.5, 1.5);
  how.speaker_low = random.uniform(90, 350);
  how.speaker_high = random.uniform(3500, 7500);
  how.noise_db = random.uniform(0, 25);
  if (random.below(3) == 0) how.talk_db = random.uniform(-10, 20);
  if (random.below(6) == 0) how.noise_db = random.uniform(-10, 0);
  how.gain_control = random.below(2) == 0;
  if (random.below(4) == 0) how.clipping = random.uniform(0.1, 0.6);
  how.seed = random.next();
}

std::size_t longer_than(double seconds, const std::vector<Song>& songs, Random& random) {
  std::vector<std::size_t> fit;
  for (std::size_t i = 0; i < songs.size(); ++i)
    if (songs[i].seconds() > seconds + 2) fit.push_back(i);
  return fit.empty() ? 0 : fit[static_cast<std::size_t>(random.below(static_cast<int>(fit.size())))];
}

Case negative(int number, const std::vector<Song>& songs, Random& random) {
  Case each;
  each.song = static_cast<std::size_t>(random.below(static_cast<int>(songs.size())));
  each.how.length = random.uniform(4, 60);
  make_hard(each.how, random);
  const int way = number % 8;
  if (way < 2) {
    each.source = Case::Source::noise;
    each.how.talk_db = way == 0 ? 99 : 0;
  } else if (way == 2) {
    each.source = Case::Source::silence;
  } else {
    each.source = Case::Source::other_song;
    const std::size_t sibling = songs[each.song].sibling;
    each.heard = way < 5 && sibling != each.song
                     ? sibling
                     : (each.song + 1 + static_cast<std::size_t>(random.below(static_cast<int>(songs.size()) - 1))) %
                           songs.size();
    each.how.start = random.uniform(0, std::max(0.1, songs[each.heard].seconds() - each.how.length));
    each.how.noise_db = std::max(each.how.noise_db, 5.0);
  }
  return each;
}

}  // namespace

const char* to_string(Class c) {
  switch (c) {
    case Class::over_60:
      return "60 s and more";
    case Class::over_15:
      return "15-60 s";
    case Class::over_6:
      return "6-15 s";
    case Class::under_6:
      return "3-6 s";
    case Class::pitch_moved:
      return "speed, pitch moved";
    case Class::pitch_kept:
      return "speed, pitch kept";
    case Class::negative:
      return "no playback of it";
  }
  return "";
}

std::vector<Song> made_songs(unsigned first_kit) {
  std::vector<Song> songs;
  for (unsigned i = 0; i < 4; ++i) {
    const unsigned kit = first_kit + i;
    for (const unsigned tune : {1U, 2U}) {
      auto made = test::make_song_of(kit, kit * 10 + tune, i == 3);
      Song song{fmt::format("made-{}-{}", kit, tune), made.sound, std::move(made), 0};
      song.sibling = songs.size() + (tune == 1 ? 1 : static_cast<std::size_t>(-1));
      songs.push_back(std::move(song));
    }
  }
  return songs;
}

std::vector<Song> recorded_songs(bool tuning, std::vector<std::string>& missing) {
  std::vector<Song> songs;
  for (const auto& [package, path] :
       tuning ? std::span<const Recorded>(kTuning) : std::span<const Recorded>(kJudging)) {
    auto sound = decoded(Path(kGames) / path);
    if (!sound) {
      if (std::find(missing.begin(), missing.end(), package) == missing.end()) missing.emplace_back(package);
      continue;
    }
    if (sound->size() < 40 * test::kTrackRate) continue;
    songs.push_back({Path(path).string(), std::move(*sound), std::nullopt, songs.size()});
  }
  return songs;
}

Track hall_response() {
  auto response = decoded("/usr/share/gx_head/sounds/greathall.wav").value_or(Track{});
  double energy = 0;
  for (const float v : response) energy += static_cast<double>(v) * v;
  for (float& v : response) v /= static_cast<float>(std::sqrt(energy));
  return response;
}

void note_repeats(Case& each, const Song& song) {
  const double from = each.how.start + each.how.speed * each.matched_from;
  const double to = each.how.start + each.how.speed * each.matched_to;
  each.also.clear();
  for (const double start : song.made ? song.made->repeats_of(from, to) : copies_in(song.sound, from, to))
    each.also.push_back(each.how.start + start - from);
}

double sounding(const Case& each, const Song& song) {
  constexpr double kStep = 0.1, kSilent = 1e-6;  // s; mean square
  const auto at = [&](double clip) {
    const double sample = (each.how.start + each.how.speed * clip) * test::kTrackRate;
    return static_cast<std::size_t>(std::clamp(sample, 0.0, static_cast<double>(song.sound.size())));
  };
  double seconds = 0;
  for (double t = each.matched_from; t < each.matched_to; t += kStep) {
    double squares = 0;
    for (std::size_t i = at(t); i < at(t + kStep); ++i) squares += static_cast<double>(song.sound[i]) * song.sound[i];
    if (squares > kSilent * static_cast<double>(at(t + kStep) - at(t))) seconds += kStep;
  }
  return seconds;
}

std::vector<Case> cases(const std::vector<Song>& songs, unsigned seed, bool hall) {
  Random random(seed);
  std::vector<Case> all;
  for (const auto& [what, clips, shortest, longest] : kPositives)
    for (int i = 0; i < clips; ++i) {
      Case each;
      each.what = what;
      const bool other_speed = what == Class::pitch_moved || what == Class::pitch_kept;
      if (other_speed) each.how.speed = kSpeeds[i % 5];
      double matched = random.uniform(shortest, longest);
      each.song = each.heard = longer_than(matched * each.how.speed, songs, random);
      matched = std::min(matched, (songs[each.song].seconds() - 2) / each.how.speed);
      each.how.pitch_moves = what != Class::pitch_kept;
      make_hard(each.how, random);
      lay_out(each, matched, songs[each.song], random);
      each.hall = hall && i % 3 == 0;
      each.name = fmt::format("{}-{:02}", static_cast<int>(what), i);
      all.push_back(std::move(each));
    }
  for (int i = 0; i < kNegatives; ++i) {
    auto each = negative(i, songs, random);
    each.name = fmt::format("negative-{:03}", i);
    all.push_back(std::move(each));
  }
  return all;
}

Track sound_of(const Case& each, const std::vector<Song>& songs, const Track& hall) {
  Capture how = each.how;
  Track room;  // the package's response is of the hall alone: the sound that comes straight is put before it
  if (each.hall && !hall.empty()) {
    room.assign(80, 0);
    room.insert(room.end(), hall.begin(), hall.end());
    room[0] = static_cast<float>(how.direct);
    how.room = &room;
  }
  switch (each.source) {
    case Case::Source::noise:
      return test::set_noise(how.length, how.seed, how.talk_db < 90);
    case Case::Source::silence:
      return Track(static_cast<std::size_t>(how.length * test::kTrackRate));
    default:
      return test::captured(songs[each.heard].sound, how);
  }
}

}  // namespace everytake::bench
