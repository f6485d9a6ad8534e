#include <fmt/format.h>

#include <CLI/App.hpp>

#include "base/posix_fs.h"
#include "cli/answer.h"
#include "cli/shoot.h"
#include "cli/stop.h"
#include "kept_song.h"
#include "pipeline.h"

namespace everytake::cli {
namespace {

Result<std::size_t> study(const std::vector<std::string>& words, const Shoot& shoot, std::stop_token stop) {
  const auto catalogue = TRY(look_into_catalogue(shoot));
  std::vector<ClipId> chosen;
  for (const auto& word : words) chosen.push_back(TRY(catalogue->find_clip(word)));
  if (words.empty())
    for (const auto& clip : TRY(catalogue->clips())) chosen.push_back(clip.id);
  if (chosen.empty()) return std::size_t{0};
  auto destinations = open_destinations(shoot.plan.destinations);
  const SystemClock clock;
  KeptSong song;
  const auto source = [&](std::stop_token s) { return song.of(shoot.folder, shoot.plan.song, std::move(s)); };
  Pipeline pipeline(*catalogue, shoot.plan, clock, source);
  const auto studied = TRY(pipeline.study(destinations, chosen, stop));
  const auto folder = TRY(PosixFs::open_at(shoot.folder));
  TRY(pipeline.picture(destinations, *folder, std::move(stop)));
  return studied;
}

}  // namespace

Run declare_study(CLI::App& command) {
  const auto words = std::make_shared<std::vector<std::string>>();
  command.add_option("CLIP", *words, "a name, an id, or ROLL/NAME; all clips where none is named");
  return [words](Session& session) {
    const StopOnSignal stop;
    const auto shoot = load_shoot(session);
    if (!shoot) return shoot.error();
    const auto count = study(*words, *shoot, stop.token());
    if (!count) return stop.exit().value_or(report(count.error(), session));
    if (session.json)
      print_json({{"studied", *count}}, session);
    else
      session.out << fmt::format("{} clip{} studied\n", *count, *count == 1 ? "" : "s");
    return stop.exit().value_or(Exit::done);
  };
}

}  // namespace everytake::cli
