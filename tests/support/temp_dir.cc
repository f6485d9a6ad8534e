#include "support/temp_dir.h"
#include "support/rooms.h"

#include <boost/filesystem.hpp>
#include <boost/filesystem/fstream.hpp>
#include <iterator>
#include <stdexcept>

namespace everytake::test {

namespace fs = boost::filesystem;

TempDir::TempDir() : TempDir(fs::temp_directory_path()) {}

TempDir::TempDir(const Path& below) : path_(below / fs::unique_path("everytake-%%%%-%%%%-%%%%")) {
  fs::create_directories(path_);
}

TempDir::~TempDir() {
  boost::system::error_code ignored;
  fs::remove_all(path_, ignored);
}

void put_file(const Path& path, std::string_view bytes) {
  fs::create_directories(path.parent_path());
  fs::ofstream out(path, std::ios::binary);
  out.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  if (!out.flush()) throw std::runtime_error("can't write " + path.string());
}

std::string get_file(const Path& path) {
  fs::ifstream in(path, std::ios::binary);
  if (!in) throw std::runtime_error("can't read " + path.string());
  return {std::istreambuf_iterator<char>(in), {}};
}

}  // namespace everytake::test
