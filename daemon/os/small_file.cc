#include "os/small_file.h"

#include <algorithm>
#include <boost/filesystem/fstream.hpp>
#include <span>

#include "base/text.h"

namespace everytake {
namespace {

Result<std::string> read_bytes(ReadFile& file, std::uint64_t count) {
  std::string bytes(static_cast<std::size_t>(count), '\0');
  bytes.resize(TRY(file.read(std::as_writable_bytes(std::span(bytes)), 0)));
  return bytes;
}

}  // namespace

Result<std::string> read_beginning(const ReadFs& fs, const Path& path, std::uint64_t most) {
  const auto file = TRY(fs.open(path, Cache::use));
  return read_bytes(*file, std::min(TRY(file->stat()).size, most));
}

Result<std::string> read_whole(const ReadFs& fs, const Path& path, std::uint64_t most) {
  const auto file = TRY(fs.open(path, Cache::use));
  const auto size = TRY(file->stat()).size;
  if (size > most) return fail(Code::invalid, shown(path.string()) + " is far too long");
  return read_bytes(*file, size);
}

std::string first_line(const Path& file) {
  boost::filesystem::ifstream in(file);
  std::string line;
  std::getline(in, line);
  return line;
}

}  // namespace everytake
