#include <CLI/App.hpp>

#include "base/text.h"
#include "cli/answer.h"
#include "cli/clip_choice.h"
#include "cli/shoot.h"
#include "cli/stop.h"
#include "os/posix_fs.h"
#include "pipeline/kept_song.h"
#include "pipeline/pipeline.h"

namespace everytake::cli {
namespace {

Result<pipeline::Studied> study(const ChoiceWords& words, const pipeline::Shoot& shoot, std::stop_token stop,
                                Session& session) {
  const auto catalogue = TRY(look_into_catalogue(shoot));
  std::vector<ClipId> chosen;
  if (!words.says_something() && TRY(catalogue->clips()).empty()) return pipeline::Studied{};
  const auto meant = TRY(chosen_clips(words, *catalogue, shoot.plan));
  for (const auto& clip : meant.clips) chosen.push_back(clip.id);
  if (const auto left_out = left_out_text(meant); !left_out.empty()) remark(left_out, session);
  auto destinations = pipeline::open_destinations(shoot.plan.destinations);
  const SystemClock clock;
  pipeline::KeptSong song;
  const auto source = [&](std::stop_token s) {
    return song.of(*catalogue, shoot.folder, shoot.plan.song, std::move(s));
  };
  pipeline::Pipeline pipeline(*catalogue, shoot.plan, clock, source);
  const auto studied = TRY(pipeline.study(destinations, chosen, stop));
  const auto folder = TRY(PosixFs::open_at(shoot.folder));
  TRY(pipeline.pictures(destinations, *folder, std::move(stop)));
  return studied;
}

}  // namespace

Run declare_study(CLI::App& command) {
  const auto words = std::make_shared<ChoiceWords>();  // all where nothing is said
  declare_choice(command, *words);
  return [words](Session& session) {
    const StopOnSignal stop;
    const auto shoot = load_shoot(session);
    if (!shoot) return shoot.error();
    const auto done = study(*words, *shoot, stop.token(), session);
    if (!done) return stop.exit().value_or(report(done.error(), session));
    if (session.json)
      print_json({{"studied", done->clips}, {"out_of_reach", done->out_of_reach}, {"unread", done->unread}}, session);
    else
      session.out << counted(done->clips, "clip") << " studied\n";
    if (done->out_of_reach > 0)
      remark(counted(done->out_of_reach, "clip") + " left as known: no copy is in reach. Connect the disk that has it.",
             session);
    if (done->why) remark(counted(done->unread, "clip") + " left as known: " + done->why->what, session);
    if (const auto exit = stop.exit()) return *exit;
    return done->out_of_reach + done->unread == 0 ? pipeline::Exit::done : pipeline::Exit::no;
  };
}

}  // namespace everytake::cli
