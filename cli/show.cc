#include <fmt/format.h>

#include <CLI/App.hpp>

#include "base/text.h"
#include "cli/answer.h"
#include "cli/choose.h"
#include "cli/new_file.h"
#include "cli/picture.h"
#include "cli/shoot.h"
#include "cli/stop.h"
#include "export/json.h"
#include "media/spanned_clips.h"
#include "plan/bars.h"

namespace everytake::cli {
namespace {

std::string said(const std::vector<std::string>& words) {
  return words.empty() ? "not said" : shown(joined(words));
}

// What is not known is said to be so.
template <class T, class F>
std::string known(const std::optional<T>& value, F text) {
  return value ? text(*value) : "unknown";
}
std::string known(const std::optional<std::string>& value) {
  return value ? shown(*value) : "unknown";
}

std::string exact_rate_text(const Rational& rate) {
  return fmt::format("{} ({})", rate_text(rate), to_string(rate));
}

std::string picture_text(const ClipFacts& facts) {
  if (!facts.width || !facts.height) return "unknown";
  std::string text = fmt::format("{}x{}", *facts.width, *facts.height);
  if (facts.rotation.value_or(0) != 0) text += fmt::format(", turned {} degrees clockwise", *facts.rotation);
  if (facts.codec) text += ", " + shown(*facts.codec);
  if (facts.bit_depth) text += fmt::format(", {} bit", *facts.bit_depth);
  return text;
}

std::string gamma_text(const ClipFacts& facts) {
  auto text = known(facts.gamma);
  if (facts.gamut) text += ", gamut " + shown(*facts.gamut);
  if (const auto it = facts.origin.find("gamma"); it != facts.origin.end())
    text += fmt::format(" (from its {})", it->second);
  return text;
}

std::string speed_text(const ClipFacts& facts) {
  const auto factor = slow_factor(facts);
  if (!factor) return "unknown";
  if (*factor == Rational(1, 1)) return "as captured";
  if (has_sound(facts)) return "in real time, as it has sound";
  return *factor < Rational(1, 1) ? fmt::format("sped up {:.3g}×", 1 / factor->value())
                                  : fmt::format("slowed {:.3g}×", factor->value());
}

std::string kind_text(const Judgement& judgement) {
  const auto& because = judgement.because;
  if (!judgement.kind) return because.empty() ? "unknown" : fmt::format("unknown ({})", shown(because));
  return fmt::format("{} (by {}{}{})", to_string(*judgement.kind), to_string(judgement.by), because.empty() ? "" : ": ",
                     shown(because));
}

// "0:42.000 (Chorus 1, bar 17, beat 4.2)", as far as the plan tells. The section is the one that holds the moment, or
// that ends with it where `end` is said.
std::string moment_text(Micros moment, const Plan& plan, bool end = false) {
  std::string place;
  for (const auto& section : plan.sections)
    if (end ? section.span.start < moment && moment <= section.span.end
            : section.span.start <= moment && moment < section.span.end)
      place = shown(section.name);
  if (const auto grid = plan::bar_grid(plan.song)) {
    const auto at = grid->at(moment);
    place += fmt::format("{}bar {}, beat {:.4g}", place.empty() ? "" : ", ", at.bar, at.beat);
  }
  return song_time(moment) + (place.empty() ? "" : " (" + place + ")");
}

std::string shutter_text(Rational shutter) {
  constexpr double kShort = 0.3;  // s; below it people say a fraction
  const double parts = 1 / shutter.value();
  if (shutter.value() >= kShort) return fmt::format("{:.3g} s", shutter.value());
  return parts < 100 ? fmt::format("1/{:.3g} s", parts) : fmt::format("1/{:.0f} s", parts);
}

std::string exposure_text(const ClipFacts& facts) {
  std::vector<std::string> parts;
  if (facts.iso) parts.push_back(fmt::format("ISO {}", *facts.iso));
  if (facts.shutter) parts.push_back(shutter_text(*facts.shutter));
  if (facts.white_balance) parts.push_back(fmt::format("{} K", *facts.white_balance));
  return parts.empty() ? "unknown" : fmt::format("{}", fmt::join(parts, ", "));
}

std::string song_text(const Clip& clip, const Plan& plan) {
  const auto& placement = clip.placement;
  using State = Placement::State;
  switch (placement.state) {
    case State::pending:
      return "not looked for yet";
    case State::none:
      return "not in it";
    case State::no_audio:
      return "it has no sound to find it by";
    case State::ambiguous:
      return fmt::format("its sound fits {} places; choose one with: everytake tag {} --choose NUMBER",
                         placement.candidates.size(), shown(clip.roll + "/" + clip.name));
    case State::placed:
      break;
  }
  std::string text = "its first frame is at " + moment_text(placement.start, plan);
  if (placement.speed != 1) text += fmt::format(", the song played at {:.4g} times its speed", placement.speed);
  text += fmt::format("; by {}", to_string(placement.by));
  if (!placement.settled_by.empty())
    text += fmt::format(", of {} places as {} and the times of recording tell", placement.candidates.size(),
                        shown(placement.settled_by));
  return text;
}

// "1 s of it is 0.2 s of song", of a clip that does not play as fast as it was shot; empty for others.
std::string pace_text(const Clip& clip) {
  const auto slow = stored_slow(clip);
  if (clip.placement.state != Placement::State::placed || slow == 1) return "";
  const std::string unsure = slow ? "" : ", if the camera did not slow it: its capture rate is not known";
  return fmt::format("1 s of it is {:.4g} s of song{}", pace(clip), unsure);
}

// The files before and after it, where one recording was written into several.
struct Parts {
  std::optional<std::string> from, in;  // "R001/C0002"
};
Parts parts_of(const Clip& clip, const std::vector<Clip>& clips) {
  const auto name = [](const std::optional<Clip>& each) {
    return each ? std::optional(each->roll + "/" + each->name) : std::nullopt;
  };
  return Parts{name(media::previous_of(clip, clips)), name(media::next_of(clip, clips))};
}

void put_part(Json& json, const char* key, const std::optional<std::string>& part) {
  if (part)
    put_name(json, key, *part);
  else
    json[key] = nullptr;
}

std::string show_text(const FoundClip& found, const Parts& parts, const Plan& plan, const Screen& screen) {
  const auto& clip = found.clip;
  const auto& facts = clip.facts;
  std::string text = painted(fmt::format("{}/{}", clip.roll, clip.name), Tone::heading, screen) +
                     fmt::format("  (id {})\n", clip.id.value);
  const auto line = [&](const char* name, const std::string& value) {
    text += fmt::format("  {:<12} {}\n", name, value);
  };
  line("kind", kind_text(clip.judgement));
  line("length",
       known(facts.duration, length_text) + ", once conformed " + known(on_screen(clip, plan.frame_rate), length_text));
  if (parts.from) line("spanned from", shown(*parts.from) + ": one recording, which the camera split");
  if (parts.in) line("spans into", shown(*parts.in) + ": one recording, which the camera split");
  line("frames", known(facts.frames, [](auto n) { return std::to_string(n); }));
  line("base rate", known(facts.frame_rate, exact_rate_text));
  line("capture rate", known(facts.capture_rate, exact_rate_text));
  line("plays", speed_text(facts));
  line("picture", picture_text(facts));
  line("gamma", gamma_text(facts));
  line("timecode", known(facts.timecode));
  line("recorded", known(facts.recorded_at, local_time) + (found.setup.empty() ? "" : "; " + found.setup));
  line("camera", known(facts.camera) + (facts.lens ? ", " + shown(*facts.lens) : ""));
  line("exposure", exposure_text(facts));
  line("sound", facts.audio ? (*facts.audio ? "yes" : "none") : "unknown");
  line("song", song_text(clip, plan));
  if (const auto pace = pace_text(clip); !pace.empty()) line("pace", pace);
  for (std::size_t i = 0; i < clip.placement.candidates.size(); ++i)
    line(fmt::format("  place {}", i + 1).c_str(), moment_text(clip.placement.candidates[i].start, plan));
  for (const auto& span : clip.placement.spans)
    if (clip.placement.state == Placement::State::placed)
      line("holds", moment_text(span.start, plan) + " to " + moment_text(span.end, plan, /*end=*/true));
  line("sections", said(sections_of(clip, plan)));
  line("members", said(clip.members));
  line("look", clip.look ? shown(*clip.look) : "not said");
  if (clip.angle) line("angle", shown(*clip.angle));
  if (clip.rating) line("rating", std::to_string(*clip.rating));
  if (clip.note) line("note", shown(*clip.note));
  line("size",
       bytes_text(clip.size) + ", xxh128 " + known(clip.digest, [](const Digest& digest) { return digest.hex(); }));
  for (const auto& copy : clip.copies)
    line("copy",
         fmt::format("{} at \"{}\": {}", to_string(copy.state), shown(copy.destination), shown(copy.path.string())));
  for (const auto& problem : facts.problems) text += painted("  ! " + problem.message, Tone::warning, screen) + "\n";
  return text;
}

Result<void> save_picture(const Clip& clip, const pipeline::Shoot& shoot, const Path& file, std::stop_token stop) {
  TRY(check_new(file));
  return write_new(file, TRY(picture_of(clip, shoot, examiner::Examiner(), std::move(stop))));
}

}  // namespace

Run declare_show(CLI::App& command) {
  const auto word = std::make_shared<std::string>();
  const auto picture = std::make_shared<std::string>();
  command.add_option("CLIP", *word, "a name, an id, or ROLL/NAME")->required();
  command.add_option("--picture", *picture, "write its frames, start to end, to this new file as one JPEG");
  return [word, picture](Session& session) {
    const StopOnSignal stop;
    const auto shoot = load_shoot(session);
    if (!shoot) return shoot.error();
    const auto found = find_clip(*word, *shoot);
    if (!found) return report(found.error(), session);
    const auto& clip = found->clip;
    if (!picture->empty())
      if (const auto done = save_picture(clip, *shoot, absolute_folder(*picture, session), stop.token()); !done)
        return stop.exit().value_or(report(done.error(), session));
    const auto parts = parts_of(clip, found->clips);
    if (session.json) {
      auto json = exports::clip_json(clip, shoot->plan);
      put_part(json, "goes_on_from", parts.from);
      put_part(json, "goes_on_in", parts.in);
      json["setup"] = found->setup.empty() ? Json() : Json(found->setup);
      print_json({{"clip", std::move(json)}}, session);
    } else {
      session.out << show_text(*found, parts, shoot->plan, session.out_screen);
    }
    return pipeline::Exit::done;
  };
}

}  // namespace everytake::cli
