#include "os/small_file.h"

#include <algorithm>
#include <boost/filesystem/fstream.hpp>
#include <span>

namespace everytake {

Result<std::string> read_beginning(const ReadFs& fs, const Path& path, std::uint64_t most) {
  const auto file = TRY(fs.open(path, Cache::use));
  std::string bytes(static_cast<std::size_t>(std::min(TRY(file->stat()).size, most)), '\0');
  bytes.resize(TRY(file->read(std::as_writable_bytes(std::span(bytes)), 0)));
  return bytes;
}

std::string first_line(const Path& file) {
  boost::filesystem::ifstream in(file);
  std::string line;
  std::getline(in, line);
  return line;
}

}  // namespace everytake
