#include "cli/shoot.h"

#include <fmt/format.h>

#include <boost/filesystem/operations.hpp>

#include "base/text.h"

namespace everytake::cli {
namespace {

namespace fs = boost::filesystem;

bool has_plan(const Path& folder) {
  boost::system::error_code ignored;  // what can't be looked at is no shoot
  return fs::exists(folder / kPlanFile, ignored);
}

Result<Path> named_shoot(const std::string& name, const char* named_by, const Session& session) {
  const Path folder = absolute_folder(name, session);
  if (!name.empty() && has_plan(folder)) return folder;
  return fail(Code::not_found, fmt::format("{} \"{}\": there is no {} in it; make one with: everytake init DIR",
                                           named_by, shown(name), kPlanFile));
}

}  // namespace

Path absolute_folder(const std::string& name, const Session& session) {
  const Path folder = fs::absolute(name, session.folder).lexically_normal();
  return folder.filename_is_dot() ? folder.parent_path() : folder;  // "shoot/" becomes "shoot/."
}

Result<Path> find_shoot(const Session& session) {
  if (session.shoot) return named_shoot(*session.shoot, "--shoot", session);
  if (session.shoot_from_environment) return named_shoot(*session.shoot_from_environment, "EVERYTAKE_SHOOT", session);
  for (Path folder = session.folder; !folder.empty(); folder = folder.parent_path())
    if (has_plan(folder)) return folder;
  return fail(Code::not_found, fmt::format("no {} in {} or above; go to the shoot's folder, name it with --shoot DIR, "
                                           "or make one with: everytake init DIR",
                                           kPlanFile, shown(session.folder.string())));
}

}  // namespace everytake::cli
