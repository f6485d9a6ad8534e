// Clips, put together from a few queries over all of them.
#include <fmt/format.h>

#include <algorithm>
#include <limits>
#include <unordered_map>

#include "base/text.h"
#include "catalogue/clip_columns.h"
#include "catalogue/match_clip.h"
#include "catalogue/reader.h"

namespace everytake::catalogue {
namespace {

// The clips being put together: rows of every query find theirs here.
class Gathering {
 public:
  explicit Gathering(std::vector<Clip> clips) : clips_(std::move(clips)) {
    for (std::size_t i = 0; i < clips_.size(); ++i) places_[clips_[i].id.value] = i;
  }
  Clip& at(ClipId id) { return clips_[places_.at(id.value)]; }
  template <class Do>
  void each(Do work) {
    std::for_each(clips_.begin(), clips_.end(), work);
  }
  std::vector<Clip> done() && { return std::move(clips_); }

 private:
  std::vector<Clip> clips_;
  std::unordered_map<std::int64_t, std::size_t> places_;
};

struct Range {
  ClipId first{std::numeric_limits<std::int64_t>::min()};
  ClipId last{std::numeric_limits<std::int64_t>::max()};
};

Clip read_clip(Statement& row) {
  Clip clip;
  clip.id = row.next<ClipId>();
  clip.roll = row.next<std::string>();
  clip.name = row.next<std::string>();
  clip.path = row.next<Path>();
  clip.digest = row.next<std::optional<Digest>>();
  clip.facts = read_columns<ClipFacts>(row);
  return clip;
}

Result<std::vector<Clip>> read_clips(Db& db, Range range) {
  static const std::string kSelect = fmt::format(
      "SELECT clip.id, roll.name, clip.name, file.path, file.digest, clip.{}"
      " FROM clip"
      " JOIN roll ON roll.id = clip.roll_id"
      " JOIN file ON file.id = clip.file_id"
      " WHERE clip.id BETWEEN ? AND ?"
      " ORDER BY roll.id, file.path",
      fmt::join(columns_of<ClipFacts>(), ", clip."));
  return db.all(kSelect, read_clip, range.first, range.last);
}

// Calls `take(Clip&, Statement&)` for every row of `sql`: its first column is the clip.
template <class Take>
Result<void> gather(Db& db, Gathering& clips, Range range, std::string_view sql, Take take) {
  auto rows = TRY(db.prepare(sql));
  TRY(rows.bind(range.first, range.last));
  while (TRY(rows.step())) take(clips.at(rows.next<ClipId>()), rows);
  return {};
}

Result<void> gather_sizes(Db& db, Gathering& clips, Range range) {
  return gather(db, clips, range,
                "SELECT clip_file.clip_id, sum(file.size)"
                " FROM clip_file"
                " JOIN file ON file.id = clip_file.file_id"
                " WHERE clip_file.clip_id BETWEEN ? AND ?"
                " AND clip_file.role = 'video'"
                " GROUP BY clip_file.clip_id"
                " ORDER BY clip_file.clip_id",
                [](Clip& clip, Statement& row) { clip.size = row.next<std::uint64_t>(); });
}

void apply_mark(Clip& clip, Field field, std::string value, By by, std::string because) {
  switch (field) {
    case Field::kind:
      clip.judgement = {parse_kind(value), by, std::move(because)};
      break;
    case Field::member:
      clip.members.push_back(std::move(value));
      break;
    case Field::section:
      clip.sections.push_back(std::move(value));
      break;
    case Field::look:
      clip.look = std::move(value);
      break;
    case Field::angle:
      clip.angle = std::move(value);
      break;
    case Field::note:
      clip.note = std::move(value);
      break;
    case Field::rating:
      clip.rating = std::atoi(value.c_str());
      break;
  }
}

// For each field, only the strongest voice's rows come. An empty value says "none", which is said by leaving it empty;
// of a kind it says that nothing can be told, and why.
Result<void> gather_marks(Db& db, Gathering& clips, Range range) {
  return gather(db, clips, range,
                "SELECT clip_id, field, value, by, because"
                " FROM (SELECT *, CASE by WHEN 'hand' THEN 0 WHEN 'setup' THEN 1 ELSE 2 END AS voice,"
                "  min(CASE by WHEN 'hand' THEN 0 WHEN 'setup' THEN 1 ELSE 2 END) OVER (PARTITION BY clip_id, field)"
                "  AS strongest FROM mark WHERE clip_id BETWEEN ? AND ?)"
                " WHERE voice = strongest AND (value != '' OR field = 'kind')"
                " ORDER BY clip_id, field, value",
                [](Clip& clip, Statement& row) {
                  const auto field = parse_field(row.next<std::string>());
                  auto value = row.next<std::string>();
                  const auto by = by_of(row.next<std::string>());
                  if (field) apply_mark(clip, *field, std::move(value), by, row.next<std::string>());
                });
}

Result<void> gather_placements(Db& db, Gathering& clips, Range range) {
  return gather(db, clips, range,
                "SELECT clip_id, by, state, start_us, speed, drift_ppm, confidence, spans, candidates,"
                " settled_by"
                " FROM placement"
                " WHERE clip_id BETWEEN ? AND ?"
                " ORDER BY clip_id, by DESC",  // the rule's, then over it the hand's
                [](Clip& clip, Statement& row) {
                  auto& placement = clip.placement;
                  placement.by = by_of(row.next<std::string>());
                  placement.state = placement_state_of(row.next<std::string>());
                  placement.start = row.next<Micros>();
                  placement.speed = row.next<double>();
                  placement.drift_ppm = row.next<double>();
                  placement.confidence = row.next<std::optional<double>>();
                  placement.spans = spans_of(row.next<std::string>());
                  placement.candidates = candidates_of(row.next<std::string>());
                  placement.settled_by = row.next<std::string>();
                });
}

// How far a copy is from what its state promises, the worst first.
int rank(CopyState state) {
  switch (state) {
    case CopyState::failed:
      return 0;
    case CopyState::planned:
      return 1;
    case CopyState::copied:
      return 2;
    case CopyState::verified:
      return 3;
  }
  return 0;
}

// A clip is at a destination as well as the worst of its videos is.
void add_copy(std::vector<ClipCopy>& copies, ClipCopy copy) {
  const auto same = std::find_if(copies.begin(), copies.end(),
                                 [&](const ClipCopy& known) { return known.destination == copy.destination; });
  if (same == copies.end()) {
    copies.push_back(std::move(copy));
    return;
  }
  if (same->path.empty()) same->path = std::move(copy.path);
  if (rank(copy.state) < rank(same->state)) same->state = copy.state;
  same->verified_at = same->state == CopyState::verified ? std::min(same->verified_at, copy.verified_at) : std::nullopt;
}

// No path where nothing is known of a copy.
ClipCopy read_clip_copy(Statement& row) {
  ClipCopy copy;
  copy.destination = row.next<std::string>();
  const auto folder = row.next<Path>();
  if (const auto stored = row.next<std::optional<Path>>()) copy.path = folder / *stored;
  copy.state = copy_state_of(row.next<std::string>());
  copy.verified_at = row.next<std::optional<Instant>>();
  if (copy.state != CopyState::verified) copy.verified_at.reset();
  return copy;
}

// Every video at every destination, so that one that was never copied counts.
Result<void> gather_copies(Db& db, Gathering& clips, Range range) {
  TRY(gather(db, clips, range,
             "SELECT clip_file.clip_id, destination.name, destination.path, copy.stored_path,"
             " coalesce(copy.state, 'planned'), copy.verified_at"
             " FROM clip_file"
             " CROSS JOIN destination"
             " LEFT JOIN copy ON copy.file_id = clip_file.file_id AND copy.destination_id = destination.id"
             " WHERE clip_file.clip_id BETWEEN ? AND ?"
             " AND clip_file.role = 'video'"
             " ORDER BY clip_file.clip_id, clip_file.place, destination.id",
             [](Clip& clip, Statement& row) { add_copy(clip.copies, read_clip_copy(row)); }));
  clips.each([](Clip& clip) { std::erase_if(clip.copies, [](const ClipCopy& copy) { return copy.path.empty(); }); });
  return {};
}

// Its own problems, and those of its files.
Result<void> gather_problems(Db& db, Gathering& clips, Range range) {
  return gather(db, clips, range,
                "SELECT owner, code, path, destination, message"
                " FROM (SELECT clip_id AS owner, problem.* FROM problem WHERE clip_id BETWEEN ?1 AND ?2"
                "  UNION ALL"
                "  SELECT clip_file.clip_id AS owner, problem.*"
                "  FROM problem"
                "  JOIN file ON file.roll_id = problem.roll_id AND file.path = problem.path"
                "  JOIN clip_file ON clip_file.file_id = file.id"
                "  WHERE problem.clip_id IS NULL AND clip_file.clip_id BETWEEN ?1 AND ?2)"
                " ORDER BY owner, id",
                [](Clip& clip, Statement& row) {
                  Problem problem;
                  problem.code = problem_code_of(row.next<std::string>());
                  problem.path = row.next<std::string>();
                  problem.destination = row.next<std::string>();
                  problem.message = row.next<std::string>();
                  clip.facts.problems.push_back(std::move(problem));
                });
}

Result<std::vector<Clip>> gather_clips(Db& db, Range range) {
  const auto state = TRY(Transaction::begin(db, Transaction::Mode::read));
  Gathering clips(TRY(read_clips(db, range)));
  TRY(gather_sizes(db, clips, range));
  TRY(gather_marks(db, clips, range));
  TRY(gather_placements(db, clips, range));
  TRY(gather_copies(db, clips, range));
  TRY(gather_problems(db, clips, range));
  clips.each([](Clip& clip) { lay_out_in_song(clip, std::nullopt); });
  return std::move(clips).done();
}

Result<std::vector<NamedClip>> read_names(Db& db) {
  return db.all(
      "SELECT clip.id, roll.name, clip.name, file.path"
      " FROM clip"
      " JOIN roll ON roll.id = clip.roll_id"
      " JOIN file ON file.id = clip.file_id"
      " ORDER BY clip.id",
      [](Statement& row) {
        return NamedClip{row.next<ClipId>(), row.next<std::string>(), row.next<std::string>(), row.next<Path>()};
      });
}

// Adds the clips a query gives, a row a part, those of one clip together.
Result<void> add_pending(Statement& rows, std::vector<PendingClip>& clips) {
  while (TRY(rows.step())) {
    const auto id = rows.next<ClipId>();
    auto roll = rows.next<std::string>();
    auto name = rows.next<std::string>();
    if (clips.empty() || clips.back().id != id) clips.push_back({id, std::move(roll), {std::move(name), {}}});
    auto path = rows.next<Path>();
    clips.back().files.parts.push_back({std::move(path), role_of(rows.next<std::string>())});
  }
  return {};
}

constexpr const char* kSelectParts =
    "SELECT clip.id, roll.name, clip.name, file.path, clip_file.role"
    " FROM clip"
    " JOIN roll ON roll.id = clip.roll_id"
    " JOIN clip_file ON clip_file.clip_id = clip.id"
    " JOIN file ON file.id = clip_file.file_id ";

}  // namespace

Result<std::vector<Clip>> Reader::clips() const {
  MutexLock lock(mu_);
  return gather_clips(db_, Range{});
}

Result<Clip> Reader::clip(ClipId id) const {
  MutexLock lock(mu_);
  auto clips = TRY(gather_clips(db_, Range{id, id}));
  if (clips.empty()) return fail(Code::not_found, fmt::format("there is no clip with id {}", id.value));
  return std::move(clips.front());
}

Result<ClipId> Reader::find_clip(std::string_view text) const {
  MutexLock lock(mu_);
  return match_clip(text, TRY(read_names(db_)));
}

Result<std::vector<ClipId>> Reader::find_clips(std::string_view text) const {
  MutexLock lock(mu_);
  return match_clips(text, TRY(read_names(db_)));
}

Result<std::vector<PendingClip>> Reader::clips_to_study(std::span<const ClipId> only) const {
  MutexLock lock(mu_);
  const auto state = TRY(Transaction::begin(db_, Transaction::Mode::read));
  std::vector<PendingClip> clips;
  if (only.empty()) {
    auto rows = TRY(db_.prepare(std::string(kSelectParts) + "WHERE studied_at IS NULL ORDER BY clip.id, place"));
    TRY(add_pending(rows, clips));
    return clips;
  }
  auto rows = TRY(db_.prepare(std::string(kSelectParts) + "WHERE clip.id = ? ORDER BY place"));
  for (const auto id : only) {
    TRY(rows.bind(id));
    TRY(add_pending(rows, clips));
  }
  return clips;
}

Result<std::vector<PendingClip>> Reader::clips_to_place() const {
  MutexLock lock(mu_);
  std::vector<PendingClip> clips;
  auto rows = TRY(db_.prepare(std::string(kSelectParts) +
                              "WHERE studied_at IS NOT NULL"
                              " AND NOT EXISTS (SELECT * FROM placement WHERE clip_id = clip.id AND by = 'rule')"
                              " ORDER BY clip.id, place"));
  TRY(add_pending(rows, clips));
  return clips;
}

Result<std::vector<PendingClip>> Reader::clips_to_picture() const {
  MutexLock lock(mu_);
  std::vector<PendingClip> clips;
  auto rows = TRY(db_.prepare(std::string(kSelectParts) +
                              "WHERE studied_at IS NOT NULL AND frames_seen IS NULL ORDER BY clip.id, place"));
  TRY(add_pending(rows, clips));
  return clips;
}

}  // namespace everytake::catalogue
