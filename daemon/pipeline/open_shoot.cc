#include "pipeline/open_shoot.h"

#include <fmt/format.h>

#include "base/text.h"
#include "os/paths.h"
#include "os/posix_fs.h"
#include "os/small_file.h"
#include "pipeline/song_length.h"
#include "plan/plan.h"

namespace everytake::pipeline {
namespace {

constexpr std::uint64_t kMostPlanBytes = 1 << 20;  // a plan of a long day is a few thousand

bool has_plan(const Path& folder) {
  return exists(folder / kPlanFile);
}

Result<Path> named_shoot(const std::string& name, const char* named_by, const Path& working_folder) {
  const Path folder = absolute_folder(name, working_folder);
  if (!name.empty() && has_plan(folder)) return folder;
  return fail(Code::not_found, fmt::format("{} \"{}\": there is no {} in it; make one with: everytake init DIR",
                                           named_by, shown(name), kPlanFile));
}

// Of one that is too long for a plan, more than a plan may have.
Result<std::string> read_text(const Path& plan) {
  const auto located = TRY(locate_file(plan));
  return read_beginning(*located.folder, located.name, kMostPlanBytes + 1);
}

}  // namespace

Result<LocatedFile> locate_file(const Path& file) {
  const auto real = TRY(real_path(file));
  return LocatedFile{real, TRY(PosixFs::open_at(real.parent_path())), real.filename()};
}

Path absolute_folder(const std::string& name, const Path& working_folder) {
  const Path folder = absolute(name, working_folder);
  return folder.filename_is_dot() ? folder.parent_path() : folder;  // "shoot/" becomes "shoot/."
}

Result<Path> find_shoot(const ShootNamed& named) {
  if (named.by_option) return named_shoot(*named.by_option, "--shoot", named.working_folder);
  if (named.by_environment) return named_shoot(*named.by_environment, "EVERYTAKE_SHOOT", named.working_folder);
  for (Path folder = named.working_folder; !folder.empty(); folder = folder.parent_path())
    if (has_plan(folder)) return folder;
  return fail(Code::not_found, fmt::format("no {} in {} or above; go to the shoot's folder, name it with --shoot DIR, "
                                           "or make one with: everytake init DIR",
                                           kPlanFile, shown(named.working_folder.string())));
}

tl::expected<Shoot, std::vector<std::string>> shoot_for_copies(const Path& folder, std::string_view plan) {
  Shoot shoot{.folder = folder, .plan = {}, .remarks = {}, .wrong = {}};
  if (plan.size() > kMostPlanBytes)
    return tl::unexpected(std::vector{shown((folder / kPlanFile).string()) + " is far too long for a plan"});
  auto reading = plan::read_plan(plan, [&](const Path& song) {
    auto length = song_length(folder, absolute(song, folder));
    if (!length) shoot.remarks.push_back("song: " + length.error().what);
    return length;
  });
  for (const auto& error : reading.errors) shoot.wrong.push_back(to_string(error));
  if (!reading.fit_for_copies) return tl::unexpected(std::move(shoot.wrong));
  if (!shoot.wrong.empty()) shoot.remarks.clear();  // of a song that is not in the plan then
  shoot.plan = std::move(reading.plan);
  return shoot;
}

tl::expected<Shoot, std::vector<std::string>> load_shoot_for_copies(const Path& folder) {
  const auto text = read_text(folder / kPlanFile);
  if (!text) return tl::unexpected(std::vector{text.error().what});
  return shoot_for_copies(folder, *text);
}

tl::expected<Shoot, std::vector<std::string>> load_shoot(const Path& folder) {
  auto shoot = load_shoot_for_copies(folder);
  if (shoot && !shoot->wrong.empty()) return tl::unexpected(std::move(shoot->wrong));
  return shoot;
}

}  // namespace everytake::pipeline
