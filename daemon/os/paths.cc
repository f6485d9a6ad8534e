#include "os/paths.h"

#include <boost/filesystem/operations.hpp>

#include "base/text.h"
#include "os/system_error.h"

namespace everytake {
namespace {

namespace fs = boost::filesystem;
using NoThrow = boost::system::error_code;

}  // namespace

bool exists(const Path& path) {
  NoThrow unseen;
  return fs::exists(path, unseen);
}

bool is_absent(const Path& path) {
  NoThrow unseen;
  return fs::status(path, unseen).type() == fs::file_not_found;
}

Result<Path> real_path(const Path& path) {
  NoThrow error;
  auto real = fs::canonical(path, error);
  if (error) return fail(Code::not_found, shown(path.string()) + " is not there");
  return real;
}

Path resolved(const Path& path) {
  NoThrow error;
  auto real = fs::weakly_canonical(path, error);
  return error || real.empty() ? path.lexically_normal() : real;
}

Path absolute(const Path& name, const Path& folder) {
  return fs::absolute(name, folder).lexically_normal();  // with a folder given it asks nobody
}

Path working_folder() {
  NoThrow none;
  return fs::current_path(none);
}

Path folder_of_program() {
  NoThrow unseen;
  return fs::read_symlink("/proc/self/exe", unseen).parent_path();
}

Result<bool> make_folders(const Path& folder) {
  NoThrow error;
  const bool made = fs::create_directories(folder, error);
  if (error) return tl::unexpected(system_error(shown(folder.string()) + ": make the folder", error.value()));
  return made;
}

void remove_if_empty(const Path& folder) {
  NoThrow ignored;  // where something is in it, it stays
  fs::remove(folder, ignored);
}

}  // namespace everytake
