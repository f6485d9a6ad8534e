#include "support/media_card.h"

#include <fmt/format.h>

#include <boost/filesystem.hpp>
#include <cmath>

#include "base/text.h"
#include "support/media_movie.h"
#include "support/media_song.h"
#include "support/rooms.h"
#include "support/temp_dir.h"

extern "C" {
#include <libavutil/timecode.h>
}

namespace everytake::test {
namespace {

namespace fs = boost::filesystem;
using Hears = CardClip::Hears;

std::string camera_rate(Rational rate) {
  std::string text = fmt::format("{:.2f}", rate.value());
  if (text.ends_with(".00")) text.resize(text.size() - 3);
  return text + "p";
}

// Clips follow each other every five minutes.
Instant shot_at(const CardClip& clip) {
  return *parse_iso8601("2026-05-16T10:00:00+02:00") + std::chrono::minutes(5 * (clip.number - 1));
}

std::string local_time(Instant utc) {
  std::string text = iso8601(utc + std::chrono::hours(2));
  text.pop_back();
  return text + "+02:00";
}

// The time bytes of SMPTE ST 12-1 by libavutil. `frame` counts the file's frames from 01:00:00:00.
std::uint32_t ltc_word(const CardClip& clip, int frame) {
  const int nominal = static_cast<int>(std::lround(clip.rate.value()));
  const int counted = nominal > 30 ? 30 : nominal;
  const int pairs = nominal / counted;
  AVTimecode timecode{};
  const std::int64_t scale = clip.rate.den() == 1001 ? 1001 : 1000;
  av_timecode_init_from_components(&timecode, {counted * 1000, static_cast<int>(scale)},
                                   clip.drop_frame ? AV_TIMECODE_FLAG_DROPFRAME : 0, 1, 5 * (clip.number - 1) % 60, 10,
                                   0, nullptr);
  return av_timecode_get_smpte_from_framenum(&timecode, frame / pairs);
}

std::string start_label(const CardClip& clip) {
  return fmt::format("01:{:02}:10{}00", 5 * (clip.number - 1) % 60, clip.drop_frame ? ';' : ':');
}

Sound sound_of(const CardClip& clip, const std::vector<float>& song) {
  const auto seed = static_cast<unsigned>(clip.number);
  switch (clip.hears) {
    case Hears::song:
      return heard_in_a_room(song, clip.song_start, clip.seconds, seed);
    case Hears::silence:
      return room_noise(clip.seconds, seed, 0);
    default:
      return room_noise(clip.seconds, seed);
  }
}

// A dim stage in log: mid-greys, a warm side light that wanders, a figure that sways.
Painter stage(int clip) {
  return [clip](float x, float y, int frame) {
    const float t = static_cast<float>(frame) / 24;
    const float light = std::exp(-8 * (x - 0.2F - 0.05F * static_cast<float>(clip % 7)) * (x - 0.2F));
    const float dx = x - 0.55F - 0.06F * std::sin(1.7F * t + static_cast<float>(clip));
    const bool figure = dx * dx * 30 + (y - 0.55F) * (y - 0.55F) * 6 < 0.5F;
    const float shade = figure ? 0.22F : 0.0F;
    return Colour{0.22F + 0.2F * light + shade, 0.2F + 0.13F * light + shade * 0.9F, 0.24F + 0.05F * y + shade * 0.8F};
  };
}

Movie movie_of(const CardClip& clip, const std::vector<float>& song) {
  Movie movie;
  movie.rate = clip.rate;
  movie.frames = clip.frames();
  movie.pixels = clip.ten_bit ? "yuv422p10le" : "yuv420p";
  movie.coarse = 4;
  movie.paint = stage(clip.number);
  movie.created = iso8601(shot_at(clip));
  movie.index_first = clip.cut;
  movie.options = {{"brand", "XAVC"}};
  if (clip.hears != Hears::nothing) movie.sound = sound_of(clip, song);
  if (clip.drop_frame) movie.timecode = start_label(clip);
  return movie;
}

void stamp(const Path& file, const CardClip& clip) {
  const auto end = shot_at(clip) + from_seconds(clip.seconds) + std::chrono::seconds(1);
  fs::last_write_time(file, std::chrono::system_clock::to_time_t(std::chrono::floor<std::chrono::seconds>(end)));
}

void write_clip(const Path& root, const CardClip& clip, const std::vector<float>& song) {
  const Path video = root / "CLIP" / (clip.name() + ".MP4");
  Movie movie = movie_of(clip, song);
  make_movie(video, movie);
  if (clip.cut) fs::resize_file(video, fs::file_size(video) * 6 / 10);
  const Path sidecar = root / "CLIP" / (clip.name() + "M01.XML");
  put_file(sidecar, sidecar_xml(clip));
  std::vector<Path> written{video, sidecar};
  if (clip.proxy) {
    movie.width /= 2;
    movie.height /= 2;
    movie.pixels = "yuv420p";
    movie.coarse = 2;
    movie.index_first = false;
    written.push_back(root / "SUB" / (clip.name() + "S03.MP4"));
    make_movie(written.back(), movie);
  }
  Movie still;
  still.format = still.video_codec = "mjpeg";
  still.pixels = "yuvj420p";
  still.full_range = true;
  still.frames = 1;
  still.width = 160;
  still.height = 90;
  still.paint = stage(clip.number);
  written.push_back(root / "THMBNL" / (clip.name() + "T01.JPG"));
  make_movie(written.back(), still);
  for (const auto& file : written) stamp(file, clip);
}

std::string index_xml(const std::vector<CardClip>& clips) {
  std::string materials;
  for (const auto& clip : clips)
    materials += fmt::format("  <Material uri=\"./CLIP/{0}.MP4\" type=\"MP4\" dur=\"{1}\" fps=\"{2}\"/>\n", clip.name(),
                             clip.frames(), camera_rate(clip.rate));
  return "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<MediaProfile version=\"2.10\">\n <Contents>\n" + materials +
         " </Contents>\n</MediaProfile>\n";
}

void write_index(const Path& top, const std::vector<CardClip>& clips) {
  put_file(top / "MEDIAPRO.XML", index_xml(clips));
  put_file(top / "STATUS.BIN", std::string(512, '\0'));
  for (const char* name : {"MEDIAPRO.XML", "STATUS.BIN"}) stamp(top / name, clips.back());
}

}  // namespace

std::string CardClip::name() const {
  return fmt::format("C{:04}", number);
}
int CardClip::frames() const {
  return static_cast<int>(std::lround(seconds * rate.value()));
}

std::vector<CardClip> card_clips() {
  const Rational ntsc30(30000, 1001), ntsc120(120000, 1001);
  return {
      {.number = 1, .seconds = 40, .hears = Hears::song, .song_start = -2},
      {.number = 2, .seconds = 32, .hears = Hears::song, .song_start = 24.5},
      {.number = 3, .seconds = 30, .hears = Hears::song, .song_start = 60.25},
      {.number = 4, .seconds = 4, .proxy = true},
      {.number = 5, .capture = ntsc120, .seconds = 6, .hears = Hears::nothing, .proxy = true},
      {.number = 6, .rate = ntsc30, .seconds = 14, .hears = Hears::song, .song_start = 90, .drop_frame = true},
      {.number = 7, .seconds = 3, .gamma = "rec709", .gamut = "rec709", .ten_bit = false, .proxy = true},
      {.number = 8, .rate = ntsc120, .seconds = 2},
      {.number = 9, .seconds = 12, .hears = Hears::song, .song_start = 31, .cut = true},
      {.number = 10, .seconds = 20, .hears = Hears::song, .song_start = 104},
      {.number = 11, .seconds = 3, .hears = Hears::silence},
      {.number = 12, .capture = ntsc120, .seconds = 4, .hears = Hears::nothing},
  };
}

CardClip one_more() {
  return {.number = 13, .seconds = 3};
}

// Element and attribute names as cameras of the XAVC family write them; every value is our own.
std::string sidecar_xml(const CardClip& clip) {
  const bool slow = clip.capture && *clip.capture != clip.rate;
  const int nominal = static_cast<int>(std::lround(clip.rate.value()));
  const auto start = shot_at(clip);
  const auto umid = [&](char kind) { return fmt::format("{:016X}{:016X}", 0x4C310000ULL + clip.number, int{kind}); };
  return fmt::format(
      R"(<?xml version="1.0" encoding="UTF-8" standalone="no"?>
<NonRealTimeMeta xmlns="urn:schemas-professionalDisc:nonRealTimeMeta:ver.2.20" xmlns:lib="urn:schemas-professionalDisc:lib:ver.2.10" lastUpdate="{updated}">
 <TargetMaterial umidRef="060A2B340101010501010D4313000000{umid}" status="OK"/>
 <Duration value="{frames}"/>
 <LtcChangeTable tcFps="{tc_fps}" halfStep="{half}">
  <LtcChange frameCount="0" value="{first:08X}" status="increment"/>
  <LtcChange frameCount="{last_frame}" value="{last:08X}" status="end"/>
 </LtcChangeTable>
 <CreationDate value="{created}"/>
 <VideoFormat>
  <VideoRecPort port="DIRECT"/>
  <VideoFrame videoCodec="{codec}" captureFps="{capture}" formatFps="{format}"/>
  <VideoLayout pixel="320" numOfVerticalLine="180" aspectRatio="16:9"/>
 </VideoFormat>
 <AudioFormat numOfChannel="2">
  <AudioRecPort port="DIRECT" audioCodec="LPCM16" trackDst="CH1"/>
  <AudioRecPort port="DIRECT" audioCodec="LPCM16" trackDst="CH2"/>
 </AudioFormat>
 <Device manufacturer="Tollhouse Optics" modelName="L-1" serialNo="4294967295"/>
 <Lens modelName="35mm F2"/>
 <RecordingMode type="{mode}" cacheRec="false"/>
 <AcquisitionRecord>
  <Group name="CameraUnitMetadataSet">
   <Item name="CaptureGammaEquation" value="{gamma}"/>
   <Item name="CaptureColorPrimaries" value="{gamut}"/>
   <Item name="CodingEquations" value="rec709"/>
  </Group>
 </AcquisitionRecord>
</NonRealTimeMeta>
)",
      fmt::arg("updated", local_time(start + std::chrono::seconds(2) + from_seconds(clip.seconds))),
      fmt::arg("umid", umid('L')), fmt::arg("frames", clip.frames()), fmt::arg("tc_fps", nominal > 30 ? 30 : nominal),
      fmt::arg("half", nominal > 30 ? "true" : "false"), fmt::arg("first", ltc_word(clip, 0)),
      fmt::arg("last_frame", clip.frames() - 1), fmt::arg("last", ltc_word(clip, clip.frames() - 1)),
      fmt::arg("created", local_time(start)),
      fmt::arg("codec", clip.ten_bit ? "AVC_320_180_H422P@L51" : "AVC_320_180_HP@L51"),
      fmt::arg("capture", camera_rate(clip.capture.value_or(clip.rate))), fmt::arg("format", camera_rate(clip.rate)),
      fmt::arg("mode", slow ? "slowAndQuickMotion" : "normal"), fmt::arg("gamma", clip.gamma),
      fmt::arg("gamut", clip.gamut));
}

void make_card(const Path& root, const std::vector<CardClip>& clips) {
  const Path top = root / "PRIVATE" / "M4ROOT";
  for (const char* folder : {"CLIP", "SUB", "THMBNL", "GENERAL"}) fs::create_directories(top / folder);
  const auto song = make_song();
  for (const auto& clip : clips) write_clip(top, clip, song);
  write_index(top, clips);
}

void add_clip(const Path& root, const CardClip& clip) {
  const Path top = root / "PRIVATE" / "M4ROOT";
  write_clip(top, clip, clip.hears == Hears::song ? make_song() : std::vector<float>{});
  auto clips = card_clips();
  clips.push_back(clip);
  write_index(top, clips);
}

void write_song(const Path& file) {
  Movie song;
  song.format = "wav";
  song.audio_codec = "pcm_s16le";
  song.video_codec = "";
  song.sound = Sound{kSongRate, 1, make_song()};
  make_movie(file, song);
}

}  // namespace everytake::test
