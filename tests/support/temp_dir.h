// A folder that lasts as long as the object.
#pragma once

#include <string>
#include <string_view>

#include "os/fs.h"
#include "support/rooms.h"

namespace everytake::test {

class TempDir {
 public:
  TempDir();  // below $TMPDIR or /tmp
  explicit TempDir(const Path& below);
  ~TempDir();
  TempDir(const TempDir&) = delete;
  TempDir& operator=(const TempDir&) = delete;
  const Path& path() const { return path_; }
  Path operator/(const Path& below) const { return path_ / below; }

 private:
  Path path_;
};

// Writes a file, making its folders.
void put_file(const Path& path, std::string_view bytes);
std::string get_file(const Path& path);

}  // namespace everytake::test
