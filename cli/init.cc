#include <fmt/format.h>

#include <CLI/App.hpp>

#include "base/text.h"
#include "cli/answer.h"
#include "cli/new_file.h"
#include "cli/shoot.h"
#include "os/paths.h"
#include "os/posix_fs.h"
#include "plan/template.h"

namespace everytake::cli {
namespace {

Result<Path> init(const Path& folder) {
  TRY(make_folders(folder));
  const auto fs = TRY(PosixFs::open_at(folder));
  const auto written = write_new(*fs, pipeline::kPlanFile, plan::plan_template(folder.filename().string()));
  if (!written && written.error().code == Code::exists)
    return fail(Code::exists,
                fmt::format("{} has a {} already; it stays as it is", shown(folder.string()), pipeline::kPlanFile));
  if (!written) return tl::unexpected(written.error());
  return folder / pipeline::kPlanFile;
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
    return pipeline::Exit::done;
  };
}

}  // namespace everytake::cli
