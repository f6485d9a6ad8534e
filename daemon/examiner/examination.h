// What a process that is to read one recording, and nothing else, says with the one that asks it to (examiner.h): it
// gets the recording's bytes as answers, and opens no file itself.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

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
std::string pack(const Examination& examination);

// What the two say to each other: the examination, then requests and their answers, then the result.
enum class Say : char {
  look = 'l',     // a path: answered with its FileStat
  read = 'r',     // offset, count and a path: answered with the bytes
  answer = 'a',   // of either
  trouble = 't',  // an Error in place of an answer or a result
  result =
      'f',  // pack_facts(), pack_levels() and samples as they lie in memory, pack_strip(), or a number of microseconds
};
inline constexpr std::uint64_t kMostAsked = 1 << 20;  // bytes a reading
inline constexpr int kOutOfMemory = 12;               // its exit code, where that is known to be the reason

std::string pack(const Error& error);
std::string pack(const FileStat& stat);
Result<Error> unpack_error(std::string_view bytes);
struct FileRange {
  std::uint64_t offset = 0, count = 0;
  Path path;
};
Result<FileRange> unpack_range(std::string_view bytes);  // `corrupt` for more than kMostAsked

// For the first line of main(): splits off a process for each examination that is asked for, in which `examine` gets a
// channel's end and returns the exit code, until nobody asks any more; then returns the program's own exit code.
// nullopt where the program was not started for that.
std::optional<int> serve_examinations(int argc, char** argv, const std::function<int(Descriptor)>& examine);

}  // namespace everytake::examiner
