#include <fmt/format.h>

#include <CLI/App.hpp>
#include <algorithm>

#include "base/text.h"
#include "cli/answer.h"
#include "cli/choose.h"
#include "cli/shoot.h"
#include "cli/values.h"
#include "export/json.h"
#include "pipeline/pipeline.h"

namespace everytake::cli {
namespace {

using Act = catalogue::MarkChange::Act;

struct Options {
  std::vector<std::string> clips, members, sections, remove_members, clear;
  std::optional<std::string> kind, look, angle, note, start;
  std::optional<int> rating, choose;
  double speed = 1;
};

const std::vector<std::string> kFields{"kind", "member", "section", "look", "angle", "note", "rating", "start"};

Result<std::vector<catalogue::MarkChange>> marks_of(const Options& options, const Plan& plan) {
  std::vector<catalogue::MarkChange> marks;
  for (const auto& word : options.clear) {
    if (const auto known = catalogue::parse_field(TRY(choose_name(word, kFields, "field"))))
      marks.push_back({*known, Act::clear, ""});
  }
  if (options.kind) marks.push_back({catalogue::Field::kind, Act::set, *options.kind});
  for (const auto& word : options.remove_members)
    marks.push_back({catalogue::Field::member, Act::remove, TRY(choose_name(word, member_names(plan), "member"))});
  for (const auto& word : options.members)
    marks.push_back({catalogue::Field::member, Act::set, TRY(choose_name(word, member_names(plan), "member"))});
  for (const auto& word : options.sections)
    marks.push_back({catalogue::Field::section, Act::set, TRY(choose_name(word, section_names(plan), "section"))});
  if (options.look) marks.push_back({catalogue::Field::look, Act::set, *options.look});
  if (options.angle) marks.push_back({catalogue::Field::angle, Act::set, *options.angle});
  if (options.note) marks.push_back({catalogue::Field::note, Act::set, *options.note});
  if (options.rating) marks.push_back({catalogue::Field::rating, Act::set, std::to_string(*options.rating)});
  return marks;
}

// Where the clip lies, said by hand: the part of it that is inside the song.
Result<Placement> placement_of(Clip clip, Micros start, double speed, const Plan& plan) {
  if (!clip.facts.duration)
    return fail(Code::invalid, fmt::format("{}: its length is not known, so it can't be placed", shown(clip.name)));
  clip.placement = {};
  clip.placement.state = Placement::State::placed;
  clip.placement.by = By::hand;
  clip.placement.start = start;
  clip.placement.speed = speed;
  lay_out_in_song(clip, plan.song.length);
  if (clip.placement.spans.empty())
    return fail(Code::invalid,
                fmt::format("{}: no part of it would lie in the song: it would end {} before that begins",
                            shown(clip.name), length_text(-song_time_at(clip, *clip.facts.duration))));
  return clip.placement;
}

// One of the places that show numbers, chosen by hand; a choice can be changed later.
Result<Placement> chosen_place(const Clip& clip, int number) {
  const auto& heard = clip.placement;
  const auto count = static_cast<int>(heard.candidates.size());
  if (count == 0)
    return fail(Code::invalid, fmt::format("{}: there are no places to choose from; say where it lies with --start",
                                           shown(clip.name)));
  if (number > count)
    return fail(Code::invalid, fmt::format("--choose {}: {} has {} places", number, shown(clip.name), count));
  auto placement = at_candidate(heard, static_cast<std::size_t>(number - 1));
  placement.state = Placement::State::placed;
  placement.by = By::hand;
  placement.confidence.reset();
  placement.settled_by.clear();
  return placement;
}

bool takes_back_start(const Options& options) {
  return std::any_of(options.clear.begin(), options.clear.end(),
                     [](const auto& field) { return same_letters(field, "start"); });
}

bool says_nothing(const Options& o) {
  return !o.kind && !o.look && !o.angle && !o.note && !o.rating && !o.start && !o.choose && o.members.empty() &&
         o.sections.empty() && o.remove_members.empty() && o.clear.empty();
}

// Where each clip is placed by hand; nullopt for all where that was not asked for.
Result<std::vector<std::optional<Placement>>> placements_of(const Options& options, const std::vector<Clip>& clips,
                                                            const Plan& plan) {
  std::vector<std::optional<Placement>> placements(clips.size());
  if (options.choose) {
    if (clips.size() != 1) return fail(Code::invalid, "--choose: name one clip; each has places of its own");
    placements[0] = TRY(chosen_place(clips[0], *options.choose));
  }
  if (!options.start) return placements;
  const auto start = TRY(moment_of_song("--start", *options.start, plan.song));
  for (std::size_t i = 0; i < clips.size(); ++i)
    placements[i] = TRY(placement_of(clips[i], start, options.speed, plan));
  return placements;
}

// All of it or nothing. Returns the clips as they are now.
Result<std::vector<Clip>> tag(const Options& options, const pipeline::Shoot& shoot) {
  const auto catalogue = TRY(look_into_catalogue(shoot));
  std::vector<Clip> chosen;
  std::vector<ClipId> ids;
  for (const auto& word : options.clips) {
    ids.push_back(TRY(catalogue->find_clip(word)));
    chosen.push_back(TRY(catalogue->clip(ids.back())));
  }
  const auto marks = TRY(marks_of(options, shoot.plan));
  const auto placements = TRY(placements_of(options, chosen, shoot.plan));
  const bool placed = options.start || options.choose;
  const bool moved = placed || takes_back_start(options);
  std::vector<catalogue::HandEdit> edits;
  for (std::size_t i = 0; i < ids.size(); ++i)
    edits.push_back({ids[i], marks, placements[i], !placed && takes_back_start(options)});
  TRY(catalogue->edit(edits));
  const SystemClock clock;
  if (moved) {
    pipeline::Pipeline pipeline(*catalogue, shoot.plan, clock);
    TRY(pipeline.classify(ids));
    TRY(pipeline.settle_choices());
  }
  std::vector<Clip> tagged;
  for (auto& clip : TRY(clips_in_song(*catalogue, shoot.plan)))
    if (std::find(ids.begin(), ids.end(), clip.id) != ids.end()) tagged.push_back(std::move(clip));
  return tagged;
}

std::string line_of(const Clip& clip, const Plan& plan) {
  std::string text = fmt::format("{}/{}: {}", clip.roll, shown(clip.name),
                                 clip.judgement.kind ? to_string(*clip.judgement.kind) : "kind unknown");
  if (const auto sections = sections_of(clip, plan); !sections.empty()) text += "; " + shown(joined(sections));
  if (!clip.members.empty()) text += "; with " + shown(joined(clip.members));
  if (clip.look) text += "; " + shown(*clip.look);
  return text;
}

// Its stretch of the song depends on what its files don't say.
void remark_on_unknown_slowing(const std::vector<Clip>& clips, Session& session) {
  for (const auto& clip : clips)
    if (!stored_slow(clip))
      remark(fmt::format("{}/{}: its capture rate is not known, so it counts as playing as fast as it was shot; if the "
                         "camera slowed it 5 times, say --speed 0.2",
                         clip.roll, shown(clip.name)),
             session);
}

}  // namespace

Run declare_tag(CLI::App& command) {
  const auto options = std::make_shared<Options>();
  command.add_option("CLIP", options->clips, "a name, an id, or ROLL/NAME; several at once")->required();
  command.add_option("--kind", options->kind, "performance, b-roll or slow-mo")
      ->check(written_as(parse_kind, kKindChoice));
  command.add_option("--member", options->members, "who is seen; may be repeated")->allow_extra_args(false);
  command.add_option("--section", options->sections, "a section of the song; may be repeated")->allow_extra_args(false);
  command.add_option("--look", options->look, "light and colour, in your words");
  command.add_option("--angle", options->angle, "where the camera stood, in your words");
  command.add_option("--note", options->note, "anything else");
  command.add_option("--rating", options->rating, "1 to 5")->check(CLI::Range(1, 5));
  command.add_option("--remove-member", options->remove_members, "who is not seen after all")->allow_extra_args(false);
  command.add_option("--clear", options->clear, "a field to take back: kind, member … or start")
      ->allow_extra_args(false)
      ->check(written_as([](const std::string& word) { return choose_name(word, kFields, "field").has_value(); },
                         "choose kind, member, section, look, angle, note, rating or start"));
  auto* start =
      command
          .add_option("--start", options->start, "the song time heard at its first frame; -0:02 where it rolled before")
          ->check(written_as(parse_moment, "write minutes and seconds, as in 1:02.5"));
  command.add_option("--choose", options->choose, "which of the places that show lists, 1 the first")
      ->check(CLI::Range(1, 999))
      ->excludes(start);
  command.add_option("--speed", options->speed, "how fast the song was played in the room")
      ->type_name("FACTOR")
      ->check(CLI::Range(0.1, 10.0))
      ->needs(start);
  return [options](Session& session) {
    if (says_nothing(*options)) {
      report({Code::invalid, "say what to tag; see: everytake tag --help", 0}, session);
      return pipeline::Exit::usage;
    }
    const auto shoot = load_shoot(session);
    if (!shoot) return shoot.error();
    const auto clips = tag(*options, *shoot);
    if (!clips) return report(clips.error(), session);
    if (session.json) {
      Json list = Json::array();
      for (const auto& clip : *clips) list.push_back(exports::clip_json(clip, shoot->plan));
      print_json({{"clips", std::move(list)}}, session);
    } else {
      for (const auto& clip : *clips) session.out << line_of(clip, shoot->plan) << '\n';
    }
    if (options->start) remark_on_unknown_slowing(*clips, session);
    return pipeline::Exit::done;
  };
}

}  // namespace everytake::cli
