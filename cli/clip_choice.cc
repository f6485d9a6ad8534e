#include "cli/clip_choice.h"

#include <CLI/App.hpp>
#include <algorithm>
#include <functional>
#include <set>

#include "base/text.h"
#include "cli/local_moment.h"
#include "cli/shoot.h"
#include "cli/values.h"
#include "setup/assign.h"

namespace everytake::cli {
namespace {

using Clocks = std::vector<CameraClock>;

// When a clip was recorded: its middle, so that one that runs across a time lies on one side of it.
std::optional<Instant> moment_of(const Clip& clip, const Clocks& clocks) {
  const auto when = setup::recorded(clip, clocks);
  return when ? std::optional(when->middle()) : std::nullopt;
}

void keep_last(std::size_t count, std::vector<Clip>& clips, const Clocks& clocks) {
  if (count >= clips.size()) return;
  std::vector<std::pair<std::optional<Instant>, ClipId>> order;
  for (const auto& clip : clips) order.emplace_back(moment_of(clip, clocks), clip.id);
  std::ranges::sort(order, std::greater<>{});
  std::set<ClipId> kept;
  for (std::size_t i = 0; i < count; ++i) kept.insert(order[i].second);
  std::erase_if(clips, [&](const Clip& clip) { return !kept.contains(clip.id); });
}

// A word may be an id too, which has no roll before it.
Result<std::vector<ClipId>> find_in(const std::optional<std::string>& roll, const std::string& word,
                                    const catalogue::Reader& catalogue) {
  if (!roll) return catalogue.find_clips(word);
  auto found = catalogue.find_clips(*roll + "/" + word);
  return found || found.error().code != Code::not_found ? found : catalogue.find_clips(word);
}

// "R002" of "r002".
std::optional<std::string> roll_of(std::optional<std::string> roll) {
  if (roll && roll->starts_with('r')) roll->front() = 'R';
  return roll;
}

}  // namespace

void declare_choice(CLI::App& command, ChoiceWords& words) {
  command.add_option("CLIP", words.clips,
                     "a name, an id, or ROLL/NAME; a range, as in C0003-C0010; a wildcard, as in \"C00*\"; several at "
                     "once");
  const auto is_moment =
      written_as([](const std::string& text) { return parse_local_moment(text, SystemClock().now()); }, kMomentChoice);
  command.add_option("--roll", words.roll, "those of a roll, as in R002");
  command.add_option("--last", words.last, "the last so many that were recorded, of those that are offloaded")
      ->check(CLI::Range(1, 1'000'000));
  command.add_option("--since", words.since, "those recorded from then on")->type_name("TIME")->check(is_moment);
  command.add_option("--until", words.until, "those recorded before")->type_name("TIME")->check(is_moment);
}

std::string left_out_text(const Chosen& chosen) {
  if (chosen.without_time == 0) return "";
  return counted(chosen.without_time, "clip") +
         " left out: nothing tells when they were recorded. Where they are not analysed yet, everytake study does it";
}

Result<Chosen> chosen_clips(const ChoiceWords& words, const catalogue::Reader& catalogue, const Plan& plan) {
  const auto roll = roll_of(words.roll);
  if (roll) TRY(catalogue.find_roll(*roll));
  std::set<ClipId> named;
  for (const auto& word : words.clips)
    for (const auto id : TRY(find_in(roll, word, catalogue))) named.insert(id);
  Chosen chosen{TRY(clips_in_song(catalogue, plan)), 0};
  auto& clips = chosen.clips;
  if (clips.empty()) return fail(Code::not_found, "there is no clip yet: offload a card first");
  if (!words.clips.empty()) std::erase_if(clips, [&](const Clip& clip) { return !named.contains(clip.id); });
  if (roll) std::erase_if(clips, [&](const Clip& clip) { return clip.roll != *roll; });
  if (words.since || words.until || words.last) {
    const auto clocks = TRY(catalogue.camera_clocks());
    const auto now = SystemClock().now();
    const auto since = words.since ? parse_local_moment(*words.since, now) : std::nullopt;
    const auto until = words.until ? parse_local_moment(*words.until, now) : std::nullopt;
    chosen.without_time = std::erase_if(clips, [&](const Clip& clip) { return !moment_of(clip, clocks); });
    std::erase_if(clips, [&](const Clip& clip) {
      const auto when = *moment_of(clip, clocks);
      return (since && when < *since) || (until && when >= *until);
    });
    if (words.last) keep_last(*words.last, clips, clocks);
  }
  if (clips.empty()) return fail(Code::not_found, "no clip fits all of that: everytake find lists all");
  return chosen;
}

}  // namespace everytake::cli
