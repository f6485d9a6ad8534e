// Pipeline::study and Pipeline::classify: what each clip is, and where in the song it lies.
#include <algorithm>

#include "align/place.h"
#include "align/settle.h"
#include "base/text.h"
#include "media/classify.h"
#include "media/sound/levels.h"
#include "pipeline/pipeline.h"
#include "pipeline/setups.h"

namespace everytake::pipeline {
namespace {

bool contains(std::span<const ClipId> ids, ClipId id) {
  return std::find(ids.begin(), ids.end(), id) != ids.end();
}

auto is(ClipId id) {
  return [id](const catalogue::PendingClip& clip) { return clip.id == id; };
}

}  // namespace

Result<Studied> Pipeline::study(std::span<OpenDestination> destinations, std::span<const ClipId> only,
                                std::stop_token stop) {
  Studied done;
  std::vector<ClipId> studied;
  const auto pending = TRY(catalogue_.clips_to_study(only));
  const auto rolls = TRY(rolls_here(destinations));
  for (const auto& clip : pending) {
    if (stop.stop_requested()) break;
    const auto home = holder_of(rolls, clip.roll, std::span(&clip.files.parts.front().path, 1));
    if (!home) {
      ++done.out_of_reach;
      continue;
    }
    const auto facts = examiner_.facts(*home->fs, home->folder, clip.files, plan_.cameras, stop);
    if (!facts && facts.error().code == Code::cancelled) break;
    if (!facts) {
      ++done.unread;
      if (!done.why) done.why = within(shown(clip.roll + "/" + clip.files.name), facts.error());
      continue;
    }
    TRY(catalogue_.record_facts(clip.id, *facts, clock_.now()));
    studied.push_back(clip.id);
  }
  if (!studied.empty()) TRY(classify(studied));
  TRY(apply_setups(catalogue_));  // it is known now when they were recorded, and those before a kill
  auto unplaced = TRY(catalogue_.clips_to_place());
  for (const auto& clip : pending)  // what changed, or was asked for by name, is looked for again
    if (contains(studied, clip.id) && std::none_of(unplaced.begin(), unplaced.end(), is(clip.id)))
      unplaced.push_back(clip);
  if (!only.empty())
    std::erase_if(unplaced, [&](const catalogue::PendingClip& clip) { return !contains(only, clip.id); });
  TRY(place_clips(destinations, unplaced, std::move(stop)));
  done.clips = studied.size();
  return done;
}

Result<std::vector<RollsAt>> Pipeline::rolls_here(std::span<OpenDestination> destinations) const {
  return rolls_at(match_destinations(destinations, TRY(catalogue_.destinations())), plan_.slug());
}

Result<std::vector<float>> Pipeline::hear(std::span<OpenDestination> destinations, const catalogue::PendingClip& clip,
                                          std::stop_token stop) {
  const auto rolls = TRY(rolls_here(destinations));
  std::vector<float> sound;
  SoundLevels levels;
  for (const auto& video : videos_of(clip.files)) {
    const auto home = holder_of(rolls, clip.roll, std::span(&video, 1));
    if (!home) return fail(Code::gone, shown(video.string()) + ": no copy of it is in reach");
    auto heard = examiner_.sound(*home->fs, home->folder / video, align::kAlignRate, stop);
    if (!heard && heard.error().code != Code::corrupt) return tl::unexpected(heard.error());
    if (!heard) continue;
    if (sound.empty())
      sound = std::move(heard->samples);
    else
      sound.insert(sound.end(), heard->samples.begin(), heard->samples.end());
    levels = media::joined(levels, heard->levels);
  }
  TRY(catalogue_.record_levels(clip.id, levels));
  return sound;
}

// A clip whose disk went away, or that a stop came between, is taken another time.
Result<void> Pipeline::place_clips(std::span<OpenDestination> destinations,
                                   std::span<const catalogue::PendingClip> clips, std::stop_token stop) {
  if (clips.empty() || stop.stop_requested()) return {};
  const auto song = song_ ? TRY(song_(stop)) : nullptr;
  for (const auto& clip : clips) {
    if (stop.stop_requested()) break;
    if (!song && TRY(catalogue_.clip(clip.id)).facts.levels) continue;
    const auto sound = hear(destinations, clip, stop);
    if (!sound || !song) continue;
    TRY(catalogue_.record_placement(clip.id, align::place(*song, *sound, plan_.song.playback_speeds)));
    TRY(classify(std::span(&clip.id, 1)));
  }
  return settle_choices();
}

Result<void> Pipeline::settle_choices() {
  for (const auto& [id, placement] : align::settle(TRY(catalogue_.clips()))) {
    TRY(catalogue_.record_placement(id, placement));
    TRY(classify(std::span(&id, 1)));
  }
  return {};
}

Result<void> Pipeline::classify(std::span<const ClipId> only) {
  const auto record_kind = [&](Clip clip) {
    lay_out_in_song(clip, plan_.song.length);
    return catalogue_.record_rule(clip.id, media::classify(clip.facts, clip.placement, plan_.frame_rate));
  };
  if (only.empty())
    for (const auto& clip : TRY(catalogue_.clips())) TRY(record_kind(clip));
  for (const auto id : only) {
    const auto clip = TRY(catalogue_.clip(id));
    TRY(record_kind(clip));
  }
  return {};
}

}  // namespace everytake::pipeline
