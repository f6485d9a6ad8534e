#include "cli/shoot.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/text.h"
#include "catalogue/catalogue.h"
#include "cli/answer.h"
#include "media/checks.h"
#include "os/paths.h"
#include "setup/assign.h"

namespace everytake::cli {

Path absolute_folder(const std::string& name, const Session& session) {
  return pipeline::absolute_folder(name, session.folder);
}

Result<Path> find_shoot(const Session& session) {
  return pipeline::find_shoot({session.shoot, session.shoot_from_environment, session.folder});
}

namespace {

using Load = tl::expected<pipeline::Shoot, std::vector<std::string>>(const Path& folder);

tl::expected<pipeline::Shoot, pipeline::Exit> load_by(Load& load, Session& session) {
  const auto folder = find_shoot(session);
  if (!folder) return tl::unexpected(report(folder.error(), session));
  auto shoot = load(*folder);
  if (shoot) return std::move(*shoot);
  for (const auto& wrong : shoot.error()) session.err << painted(wrong, Tone::bad, session.err_screen) << '\n';
  return tl::unexpected(pipeline::Exit::bad_input);
}

}  // namespace

tl::expected<pipeline::Shoot, pipeline::Exit> load_shoot(Session& session) {
  return load_by(pipeline::load_shoot, session);
}

tl::expected<pipeline::Shoot, pipeline::Exit> load_shoot_for_copies(Session& session) {
  auto shoot = load_by(pipeline::load_shoot_for_copies, session);
  if (shoot) remark_wrong(*shoot, session);
  return shoot;
}

void remark_wrong(const pipeline::Shoot& shoot, Session& session) {
  for (const auto& wrong : shoot.wrong) remark(wrong, session);
  if (!shoot.wrong.empty()) remark(std::string("everytake: ") + pipeline::kNotPlaced, session);
}

Result<std::unique_ptr<catalogue::Catalogue>> look_into_catalogue(const pipeline::Shoot& shoot) {
  if (is_absent(shoot.catalogue()))
    return catalogue::Catalogue::empty();  // else opening it says why it can't be looked at
  return catalogue::Catalogue::open(shoot.catalogue());
}

Result<std::vector<Clip>> clips_in_song(const catalogue::Reader& catalogue, const Plan& plan) {
  auto clips = TRY(catalogue.clips());
  for (auto& clip : clips) lay_out_in_song(clip, plan.song.length);
  return clips;
}

Result<std::vector<Clip>> clips_of(const pipeline::Shoot& shoot) {
  const auto catalogue = TRY(look_into_catalogue(shoot));
  auto clips = TRY(clips_in_song(*catalogue, shoot.plan));
  media::add_checks(clips, shoot.plan);
  return clips;
}

Result<FoundClip> find_clip(const std::string& word, const pipeline::Shoot& shoot) {
  const auto catalogue = TRY(look_into_catalogue(shoot));
  const auto id = TRY(catalogue->find_clip(word));
  auto clips = TRY(clips_in_song(*catalogue, shoot.plan));  // what is wrong with a clip is seen beside its neighbours
  const auto found = std::find_if(clips.begin(), clips.end(), [id](const Clip& clip) { return clip.id == id; });
  if (found == clips.end()) return fail(Code::not_found, fmt::format("there is no clip with id {}", id.value));
  const auto wrong = media::checks_of(*found, clips, shoot.plan);
  Clip clip = *found;
  clip.facts.problems.insert(clip.facts.problems.end(), wrong.begin(), wrong.end());
  const auto setups = TRY(catalogue->setups());
  const auto assigned = setup::assign(setups, TRY(catalogue->camera_clocks()), std::span(&clip, 1));
  return FoundClip{std::move(clip), std::move(clips), assigned.empty() ? "" : assigned.front().because};
}

}  // namespace everytake::cli
