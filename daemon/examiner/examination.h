// What a process that is to read one recording, and nothing else, says with the one that asks it to (examiner.h): it
// gets the recording's bytes as answers, and opens no file itself.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "base/wire.h"
#include "clip_fields.h"
#include "model.h"
#include "os/channel.h"
#include "os/confine.h"

namespace everytake::examiner {

// What a program is started with to make examinations (os/fork_server.h). One of another version would take what is
// said for a recording's fault: it does not know the word, and ends.
inline constexpr const char* kExamine = "--examine-a-recording=" EVERYTAKE_VERSION;

// What is asked.
struct Examination {
  enum class Wanted { facts, sound, strip, length };
  Wanted wanted = Wanted::facts;
  Limits limits;
  Path folder;                         // where the files lie
  ClipFiles files;                     // facts: the clip's; strip: its videos; else the recording
  std::vector<CameraDefault> cameras;  // facts
  int rate_hz = 0;                     // sound
  ClipFacts known;                     // strip
};
// The files in their folder: all that is read, and all that the asking process answers to.
std::vector<Path> files_of(const Examination& examination);

// What the two say to each other: the examination, then requests and their answers, then the result. All of it is
// packed (base/wire.h), but for Say::bytes: what may be large goes as it is, as packing it costs more than the way.
enum class Say : char {
  examine = 'e',  // an Examination
  look = 'l',     // a Path: answered with its FileStat
  read = 'r',     // a FileRange: answered with its bytes
  answer = 'a',
  trouble = 't',  // an Error in place of an answer or a result
  bytes = 'b',  // an answer; or what goes before a result: the samples of a sound as they lie in memory, a strip's JPEG
  result = 'f',  // ClipFacts, SoundLevels, FramesSeen, or a length in Micros
};
inline constexpr std::uint64_t kMostAsked = 1 << 20;  // bytes a reading
inline constexpr int kOutOfMemory = 12;               // its exit code, where that is known to be the reason

struct FileRange {
  std::uint64_t offset = 0, count = 0;
  Path path;
};

// What an examination gives.
struct Finding {
  std::string result;   // packed
  std::string bytes{};  // that go before it
};

Result<void> send(Channel& channel, Say what, std::string_view body, int interrupt = -1);
inline bool is(const Message& message, Say what) {
  return message.kind == static_cast<char>(what);
}

// For the first line of main(): splits off a process for each examination that is asked for, in which `examine` gets a
// channel's end and returns the exit code, until nobody asks any more; then returns the program's own exit code.
// nullopt where the program was not started for that.
std::optional<int> serve_examinations(int argc, char** argv, const std::function<int(Descriptor)>& examine);

}  // namespace everytake::examiner

namespace everytake {

template <>
inline constexpr auto kLast<FileType> = FileType::other;
template <>
inline constexpr auto kLast<FileRole> = FileRole::thumbnail;
template <>
inline constexpr auto kLast<examiner::Examination::Wanted> = examiner::Examination::Wanted::length;

template <>
inline constexpr auto kFields<Limits> =
    std::tuple{NamedMember{"memory_bytes", &Limits::memory_bytes}, NamedMember{"cpu_seconds", &Limits::cpu_seconds}};
template <>
inline constexpr auto kFields<ClipFiles::Part> =
    std::tuple{NamedMember{"path", &ClipFiles::Part::path}, NamedMember{"role", &ClipFiles::Part::role}};
template <>
inline constexpr auto kFields<ClipFiles> =
    std::tuple{NamedMember{"name", &ClipFiles::name}, NamedMember{"parts", &ClipFiles::parts}};
template <>
inline constexpr auto kFields<CameraDefault> =
    std::tuple{NamedMember{"model", &CameraDefault::model}, NamedMember{"gamma", &CameraDefault::gamma}};
template <>
inline constexpr auto kFields<examiner::Examination> = std::tuple{
    NamedMember{"wanted", &examiner::Examination::wanted},   NamedMember{"limits", &examiner::Examination::limits},
    NamedMember{"folder", &examiner::Examination::folder},   NamedMember{"files", &examiner::Examination::files},
    NamedMember{"cameras", &examiner::Examination::cameras}, NamedMember{"rate_hz", &examiner::Examination::rate_hz},
    NamedMember{"known", &examiner::Examination::known},
};
template <>
inline constexpr auto kFields<examiner::FileRange> =
    std::tuple{NamedMember{"offset", &examiner::FileRange::offset}, NamedMember{"count", &examiner::FileRange::count},
               NamedMember{"path", &examiner::FileRange::path}};
// What who reads a recording asks of it; the rest is not told.
template <>
inline constexpr auto kFields<FileStat> = std::tuple{
    NamedMember{"type", &FileStat::type}, NamedMember{"size", &FileStat::size}, NamedMember{"mtime", &FileStat::mtime}};

}  // namespace everytake
