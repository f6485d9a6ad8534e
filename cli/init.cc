#include <fmt/format.h>

#include <CLI/App.hpp>
#include <boost/filesystem/operations.hpp>

#include "base/text.h"
#include "cli/answer.h"
#include "cli/new_file.h"
#include "cli/shoot.h"
#include "os/posix_fs.h"
#include "os/system_error.h"
#include "plan/template.h"

namespace everytake::cli {
namespace {

Result<Path> init(const Path& folder) {
  boost::system::error_code error;
  boost::filesystem::create_directories(folder, error);
  if (error)
    return tl::unexpected(system_error(fmt::format("{}: make the folder", shown(folder.string())), error.value()));
  const auto fs = TRY(PosixFs::open_at(folder));
  const auto written = write_new(*fs, kPlanFile, plan_template(folder.filename().string()));
  if (!written && written.error().code == Code::exists)
    return fail(Code::exists, fmt::format("{} has a {} already; it stays as it is", shown(folder.string()), kPlanFile));
  if (!written) return tl::unexpected(written.error());
  return folder / kPlanFile;
}

}  // namespace

Run declare_init(CLI::App& command) {
  auto folder = std::make_shared<std::string>();
  command.add_option("DIR", *folder, "the folder; made where it isn't there")->required();
  return [folder](Session& session) {
    const auto plan = init(absolute_folder(*folder, session));
    if (!plan) return report(plan.error(), session);
    if (session.json) {
      Json answer;
      put_name(answer, "plan", plan->string());
      print_json(answer, session);
    } else {
      session.out << shown(plan->string()) << '\n';
      remark("Edit it, then check it with: everytake plan", session);
    }
    return Exit::done;
  };
}

}  // namespace everytake::cli
