#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "base/text.h"
#include "gamma_names.h"
#include "plan/fields.h"
#include "plan/sections.h"

namespace everytake::plan {
namespace {

constexpr const char* kRates = "write 24000/1001, 23.976, 24, 25, 29.97, 30, 50, 59.94 or 60";
constexpr std::int64_t kMostRateTerm = 1'000'000;  // keeps products of two rates far from overflow
constexpr std::size_t kLeastDestinations = 2;
constexpr std::initializer_list<const char*> kTables = {"shoot",       "song",   "member", "section",
                                                        "destination", "camera", "want"};

// A rate as a text or as a number.
std::optional<Rational> read_rate(Fields& fields, const char* key) {
  const Value* value = fields.find(key);
  if (!value) return std::nullopt;
  const bool is_text = std::holds_alternative<std::string>(value->data);
  const auto number = is_text ? std::nullopt : fields.number(key, 1, 1000);
  const auto text = is_text ? fields.text(key) : number ? std::optional(fmt::format("{}", *number)) : std::nullopt;
  if (!text) return std::nullopt;
  const auto rate = parse_rate(*text);
  if (rate && rate->num() <= kMostRateTerm && rate->den() <= kMostRateTerm && rate->value() >= 1) return rate;
  fields.error(key, fmt::format("{} = \"{}\" is no frame rate", key, shown(*text)), kRates);
  return std::nullopt;
}

// "6/8".
std::optional<Meter> read_meter(Fields& fields) {
  const auto text = fields.text("meter");
  if (!text) return std::nullopt;
  Meter meter{0, 0};
  const char* const end = text->data() + text->size();
  const auto beats = std::from_chars(text->data(), end, meter.beats);
  const bool slash = beats.ec == std::errc{} && beats.ptr != end && *beats.ptr == '/';
  const auto unit = slash ? std::from_chars(beats.ptr + 1, end, meter.unit) : beats;
  const bool is_note = meter.unit >= 1 && meter.unit <= 64 && (meter.unit & (meter.unit - 1)) == 0;
  if (slash && unit.ec == std::errc{} && unit.ptr == end && meter.beats >= 1 && meter.beats <= 64 && is_note)
    return meter;
  fields.error("meter", fmt::format("meter = \"{}\" is no meter", shown(*text)), "such as \"4/4\", \"3/4\", \"6/8\"");
  return std::nullopt;
}

// As clips name it. A name that none can have would call every clip wrong: it is an error, put into `of_clips`.
std::optional<std::string> read_gamma(Fields& fields, const std::string& who, PlanErrors& of_clips) {
  const auto written = fields.name("gamma");
  if (!written) return std::nullopt;
  auto gamma = lower_case(*written);
  const auto& known = gamma_names();
  if (std::find(known.begin(), known.end(), gamma) != known.end()) return gamma;
  const auto meant = nearest(gamma, known);
  of_clips.push_back({fields.position("gamma"),
                      fmt::format("{}: gamma = \"{}\" is not known here", who, shown(*written)),
                      meant ? fmt::format("did you mean \"{}\"?", *meant)
                            : fmt::format("leave it out, or write one of {}", joined(known))});
  return std::nullopt;
}

// What copies don't need goes into `of_clips`.
void read_shoot(const Value& document, Plan& plan, PlanErrors& errors, PlanErrors& of_clips) {
  Fields shoot(table(document, "shoot", errors), "shoot", {"title", "performer", "frame_rate", "gamma", "read_card"},
               errors);
  shoot.require("title", "title = \"the song's name\" in [shoot]");
  plan.title = shoot.name("title").value_or("");
  plan.performer = shoot.text("performer").value_or("");
  shoot.require("frame_rate", "frame_rate = \"25/1\" in [shoot]: the rate of the edit");
  plan.frame_rate = read_rate(shoot, "frame_rate").value_or(plan.frame_rate);
  plan.gamma = read_gamma(shoot, "shoot", of_clips);
  plan.read_card_twice = shoot.choice("read_card", {"once", "twice"}) == "twice";
}

std::optional<Micros> length_of_song(Fields& song, const std::optional<Path>& file, const SongLength& measure) {
  const auto written = song.time("length");
  if (written && *written <= Micros::zero()) song.error("length", "length = 0 is no song");
  if (!file) {
    if (!song.has("length") && !song.has("file"))
      song.error("length", "neither a file nor a length", "add file = \"song.wav\", or length = \"3:30\", to [song]");
    return written;
  }
  const auto measured = measure(*file);
  if (measured) return *measured;
  if (!song.has("length"))
    song.error("file", "can't be measured: " + measured.error().what,
               "put it there, or say how long it is: length = \"3:30\"");
  return written;
}

std::vector<double> read_speeds(Fields& song) {
  const Value* value = song.find("playback_speeds");
  if (!value) return Song{}.playback_speeds;
  std::vector<double> speeds;
  const auto* list = std::get_if<Value::List>(&value->data);
  for (const auto& item : list ? *list : Value::List{}) {
    const auto* whole = std::get_if<std::int64_t>(&item.data);
    const auto* real = std::get_if<double>(&item.data);
    const double speed = whole ? static_cast<double>(*whole) : real ? *real : 0;
    if (speed >= 0.1 && speed <= 10) speeds.push_back(speed);
  }
  if (list && !list->empty() && speeds.size() == list->size()) return speeds;
  song.error("playback_speeds", "playback_speeds must be a list of numbers from 0.1 to 10",
             "playback_speeds = [1.0, 2.0]");
  return Song{}.playback_speeds;
}

// Whether a tempo was given, right or wrong.
bool read_song(const Value& document, const SongLength& measure, Song& song, PlanErrors& errors) {
  Fields fields(table(document, "song", errors), "song",
                {"file", "length", "tempo", "meter", "first_bar", "playback_speeds"}, errors);
  if (const auto file = fields.name("file")) song.file = *file;
  song.length = length_of_song(fields, song.file, measure);
  song.tempo = fields.number("tempo", 10, 1000);
  const auto meter = read_meter(fields);
  if (meter)
    song.meter = *meter;
  else if (fields.has("meter"))
    song.tempo = std::nullopt;  // bars can't be laid out
  song.first_bar = fields.time("first_bar").value_or(song.first_bar);
  if (song.length && song.first_bar >= *song.length)
    fields.error("first_bar", fmt::format("first_bar is past the song's end at {}", song_time(*song.length)));
  song.playback_speeds = read_speeds(fields);
  return fields.has("tempo");
}

std::vector<Member> read_members(const Value& document, PlanErrors& errors) {
  std::vector<Member> members;
  std::vector<Named> names;
  for (const Value* table : tables(document, "member", errors)) {
    Fields fields(table, called("member", members.size() + 1, *table), {"name", "part"}, errors);
    fields.require("name", "name = \"Ada\"");
    members.push_back({fields.name("name").value_or(""), fields.text("part").value_or("")});
    names.push_back({members.back().name, fields.position("name")});
  }
  refuse_twice("member", names, errors);
  return members;
}

PlannedDestination read_destination(Fields& fields) {
  PlannedDestination destination;
  fields.require("name", "name = \"desk\"");
  destination.name = fields.name("name").value_or("");
  fields.require("path", "path = \"/media/desk/footage\"");
  destination.path = Path(fields.name("path").value_or("")).lexically_normal();
  if (destination.path.filename_is_dot()) destination.path = destination.path.parent_path();  // "/media/desk/"
  if (!destination.path.empty() && !destination.path.is_absolute())
    fields.error("path", "path must be a whole path", "one that begins with /");
  destination.allow_same_disk = fields.choice("same_disk", {"allow"}).has_value();
  destination.accept_cached = fields.truth("accept_cached").value_or(false);
  destination.own_disk = fields.truth("own_disk").value_or(false);
  return destination;
}

// Whether `inner` is `outer` or lies in it. Both are normal.
bool is_within(const Path& inner, const Path& outer) {
  const auto [in, out] = std::mismatch(inner.begin(), inner.end(), outer.begin(), outer.end());
  return out == outer.end();
}

std::vector<PlannedDestination> read_destinations(const Value& document, PlanErrors& errors) {
  std::vector<PlannedDestination> destinations;
  std::vector<Named> names;
  for (const Value* table : tables(document, "destination", errors)) {
    Fields fields(table, called("destination", destinations.size() + 1, *table),
                  {"name", "path", "same_disk", "accept_cached", "own_disk"}, errors);
    auto destination = read_destination(fields);
    for (const auto& other : destinations) {
      if (destination.path.empty() || other.path.empty()) continue;
      const bool same = destination.path == other.path;
      if (same || is_within(destination.path, other.path) || is_within(other.path, destination.path))
        fields.error(
            "path",
            fmt::format("{} \"{}\"", same ? "has the path of" : "one lies in the other: see", shown(other.name)),
            "each destination needs a folder of its own");
    }
    names.push_back({destination.name, fields.position("name")});
    destinations.push_back(std::move(destination));
  }
  refuse_twice("destination", names, errors);
  if (destinations.size() < kLeastDestinations)
    errors.push_back({destinations.empty() ? TextPosition{} : names.front().position,
                      destinations.empty() ? "there is no destination" : "there is only one destination",
                      "a card is safe in two copies: add a [[destination]] on another disk"});
  return destinations;
}

std::vector<CameraDefault> read_cameras(const Value& document, PlanErrors& errors) {
  std::vector<CameraDefault> cameras;
  std::vector<Named> models;
  for (const Value* table : tables(document, "camera", errors)) {
    const auto who = fmt::format("camera {}", cameras.size() + 1);
    Fields fields(table, who, {"model", "gamma"}, errors);
    fields.require("model", "model = \"L-1\"");
    fields.require("gamma", "gamma = \"n-log\"");
    cameras.push_back({fields.name("model").value_or(""), read_gamma(fields, who, errors).value_or("")});
    models.push_back({cameras.back().model, fields.position("model")});
  }
  refuse_twice("camera", models, errors);
  return cameras;
}

// What only clips need: where in the song they lie, and what is wanted of them.
void read_rest(const Value& document, const SongLength& song_length, Plan& plan, PlanErrors& errors) {
  const bool tempo_given = read_song(document, song_length, plan.song, errors);
  plan.members = read_members(document, errors);
  Fields want(table(document, "want", errors), "want", {"takes", "b_roll", "slow_mo", "looks", "member_seconds"},
              errors);
  const Wants wants = read_wants(want, {});
  plan.member_seconds = from_seconds(want.number("member_seconds", 0, 86400).value_or(0));
  plan.sections = read_sections(document, plan, wants, tempo_given, errors);
  plan.cameras = read_cameras(document, errors);
}

// Whether a table has a name that none has, and may be meant for what copies rely on.
bool may_hide_a_destination(const Value& document) {
  const std::vector<std::string> names(kTables.begin(), kTables.end());
  const auto& fields = std::get<Value::Table>(document.data);
  return std::any_of(fields.begin(), fields.end(), [&](const PlanField& field) {
    if (std::find(names.begin(), names.end(), field.key) != names.end()) return false;
    const auto meant = nearest(field.key, names);
    return !meant || *meant == "shoot" || *meant == "destination";
  });
}

Plan for_copies_alone(const Plan& plan) {
  Plan some;
  some.title = plan.title;
  some.performer = plan.performer;
  some.frame_rate = plan.frame_rate;
  some.gamma = plan.gamma;
  some.read_card_twice = plan.read_card_twice;
  some.destinations = plan.destinations;
  some.text = plan.text;
  return some;
}

}  // namespace

std::string to_string(const PlanError& error) {
  return fmt::format("shoot.toml:{}:{}: {}{}", error.position.line, error.position.column, error.message,
                     error.hint.empty() ? "" : " (" + error.hint + ")");
}

PlanReading read_plan(std::string_view toml, const SongLength& song_length) {
  const auto document = parse_toml(toml);
  if (!document) return {{}, {document.error()}, false};
  PlanErrors errors, of_clips;
  Plan plan;
  plan.text = toml;
  read_shoot(*document, plan, errors, of_clips);
  plan.destinations = read_destinations(*document, errors);
  const bool fit_for_copies = errors.empty() && !may_hide_a_destination(*document);
  errors.insert(errors.end(), of_clips.begin(), of_clips.end());
  Fields top(&*document, "", kTables, errors);
  read_rest(*document, song_length, plan, errors);
  if (!errors.empty()) plan = for_copies_alone(plan);
  std::stable_sort(errors.begin(), errors.end(),
                   [](const PlanError& a, const PlanError& b) { return a.position < b.position; });
  return {std::move(plan), std::move(errors), fit_for_copies};
}

tl::expected<Plan, std::vector<PlanError>> parse_plan(std::string_view toml, const SongLength& song_length) {
  auto reading = read_plan(toml, song_length);
  if (!reading.errors.empty()) return tl::unexpected(std::move(reading.errors));
  return std::move(reading.plan);
}

}  // namespace everytake::plan
