#include <fmt/format.h>

#include <CLI/App.hpp>
#include <algorithm>

#include "base/text.h"
#include "cli/answer.h"
#include "cli/choose.h"
#include "cli/clip_choice.h"
#include "cli/shoot.h"
#include "cli/values.h"
#include "export/json.h"
#include "pipeline/pipeline.h"

namespace everytake::cli {
namespace {

using Act = catalogue::MarkChange::Act;

struct Options {
  ChoiceWords clips;
  std::vector<std::string> members, sections, remove_members, remove_sections, clear;
  std::optional<std::string> kind, look, angle, note, start;
  std::optional<int> rating, choose;
  double speed = 1;
  bool undo = false;
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
  for (const auto& word : options.remove_sections)
    marks.push_back({catalogue::Field::section, Act::remove, TRY(choose_name(word, section_names(plan), "section"))});
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
         o.sections.empty() && o.remove_members.empty() && o.remove_sections.empty() && o.clear.empty();
}

// Why it can't be done as it was said; empty where it can.
std::string wrong_together(const Options& options) {
  if (options.undo)
    return says_nothing(options) && !options.clips.says_something()
               ? ""
               : "--undo takes no clips and no fields: it takes the whole last tag back";
  if (says_nothing(options)) return "say what is true of the clips: --member, --look, --rating and others";
  return options.clips.says_something() ? "" : "say which clips: by name, --roll, --last, --since or --until";
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

std::string line_of(const Clip& clip, const Plan& plan) {
  std::string text = fmt::format("{}/{}: {}", clip.roll, shown(clip.name),
                                 clip.judgement.kind ? to_string(*clip.judgement.kind) : "kind unknown");
  if (const auto sections = sections_of(clip, plan); !sections.empty()) text += "; " + shown(joined(sections));
  if (!clip.members.empty()) text += "; with " + shown(joined(clip.members));
  if (clip.look) text += "; " + shown(*clip.look);
  if (clip.angle) text += "; " + shown(*clip.angle);
  if (clip.rating) text += fmt::format("; rating {}", *clip.rating);
  return text;
}

// After places changed: what hangs on them. Returns the clips as they are now.
Result<std::vector<Clip>> after_change(catalogue::Catalogue& catalogue, const std::vector<ClipId>& ids, bool moved,
                                       const Plan& plan) {
  const SystemClock clock;
  if (moved) {
    pipeline::Pipeline pipeline(catalogue, plan, clock);
    TRY(pipeline.classify(ids));
    TRY(pipeline.settle_choices());
  }
  std::vector<Clip> changed;
  for (auto& clip : TRY(clips_in_song(catalogue, plan)))
    if (std::find(ids.begin(), ids.end(), clip.id) != ids.end()) changed.push_back(std::move(clip));
  return changed;
}

Result<std::vector<Clip>> take_back(const pipeline::Shoot& shoot, Session& session) {
  const auto catalogue = TRY(look_into_catalogue(shoot));
  const auto ids = TRY(catalogue->take_back_edit());
  if (ids.empty()) return fail(Code::not_found, "there is no change to take back");
  remark("taken back; " + counted(ids.size(), "clip") + (ids.size() == 1 ? " is again:" : " are again:"), session);
  return after_change(*catalogue, ids, true, shoot.plan);
}

// More than a person sees at a glance are listed and asked about, where there is somebody to ask.
bool is_meant(const std::vector<Clip>& clips, const Plan& plan, Session& session) {
  constexpr std::size_t kMany = 20;
  if (clips.size() <= kMany || !session.confirm) return true;
  for (const auto& clip : clips) session.err << line_of(clip, plan) << '\n';
  return session.confirm(fmt::format("Change these {} clips?", clips.size()));
}

// All of it or nothing; nothing where it was not meant. Returns the clips as they are now.
Result<std::vector<Clip>> tag(const Options& options, const pipeline::Shoot& shoot, Session& session) {
  const auto catalogue = TRY(look_into_catalogue(shoot));
  const auto meant = TRY(chosen_clips(options.clips, *catalogue, shoot.plan));
  const auto& chosen = meant.clips;
  if (const auto left_out = left_out_text(meant); !left_out.empty()) remark(left_out, session);
  const auto marks = TRY(marks_of(options, shoot.plan));
  const auto placements = TRY(placements_of(options, chosen, shoot.plan));
  const bool placed = options.start || options.choose;
  const bool moved = placed || takes_back_start(options);
  std::vector<catalogue::HandEdit> edits;
  std::vector<ClipId> ids;
  for (std::size_t i = 0; i < chosen.size(); ++i) {
    ids.push_back(chosen[i].id);
    edits.push_back({chosen[i].id, marks, placements[i], !placed && takes_back_start(options)});
  }
  if (!is_meant(chosen, shoot.plan, session)) return fail(Code::cancelled, "nothing was changed");
  TRY(catalogue->edit(edits));
  return after_change(*catalogue, ids, moved, shoot.plan);
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
  declare_choice(command, options->clips);
  command.add_option("--kind", options->kind, "performance, b-roll or slow-mo")
      ->check(written_as(parse_kind, kKindChoice));
  command.add_option("--member", options->members, "who is seen, beside those who are said already; may be repeated")
      ->allow_extra_args(false);
  command.add_option("--section", options->sections, "a section of the song; may be repeated")->allow_extra_args(false);
  command.add_option("--look", options->look, "light and colour, in your words");
  command.add_option("--angle", options->angle, "where the camera stood, in your words");
  command.add_option("--note", options->note, "anything else");
  command.add_option("--rating", options->rating, "1 to 5")->check(CLI::Range(1, 5));
  command.add_option("--remove-member", options->remove_members, "who is not seen after all")->allow_extra_args(false);
  command.add_option("--remove-section", options->remove_sections, "a section it does not belong to after all")
      ->allow_extra_args(false);
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
  command.add_flag("--undo", options->undo, "take back the last tag; again, the one before");
  return [options](Session& session) {
    if (const auto wrong = wrong_together(*options); !wrong.empty()) {
      report({Code::invalid, wrong + "; see: everytake tag --help", 0}, session);
      return pipeline::Exit::usage;
    }
    const auto shoot = load_shoot(session);
    if (!shoot) return shoot.error();
    const auto clips = options->undo ? take_back(*shoot, session) : tag(*options, *shoot, session);
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
