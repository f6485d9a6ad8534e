// Setups and the clocks of cameras: what was said of the set, and what clips have of it.
#include <nlohmann/json.hpp>

#include "base/json.h"
#include "catalogue/catalogue.h"
#include "catalogue/columns.h"

namespace everytake::catalogue {
namespace {

std::string names_text(const std::vector<std::string>& names) {
  return dump(Json(names));
}

std::vector<std::string> names_of(const std::string& text) {
  std::vector<std::string> names;
  const auto json = Json::parse(text, nullptr, /*allow_exceptions=*/false);
  if (!json.is_array()) return names;
  for (const auto& name : json)
    if (name.is_string()) names.push_back(name.get<std::string>());
  return names;
}

Setup read_setup(Statement& row) {
  Setup setup;
  setup.id = row.next<SetupId>();
  setup.at = row.next<Instant>();
  if (const auto kind = row.next<std::optional<std::string>>()) setup.kind = parse_kind(*kind);
  setup.members = names_of(row.next<std::string>());
  setup.sections = names_of(row.next<std::string>());
  setup.look = row.next<std::optional<std::string>>();
  setup.angle = row.next<std::optional<std::string>>();
  return setup;
}

constexpr const char* kSelectSetups = "SELECT id, at, kind, members, sections, look, angle FROM setup ";

}  // namespace

Result<std::vector<Setup>> Reader::setups() const {
  MutexLock lock(mu_);
  return db_.all(std::string(kSelectSetups) + "ORDER BY at, id", read_setup);
}

Result<std::vector<CameraClock>> Reader::camera_clocks() const {
  MutexLock lock(mu_);
  return db_.all("SELECT camera, ahead_us, known_by FROM camera_clock ORDER BY camera", [](Statement& row) {
    return CameraClock{row.next<std::string>(), row.next<Micros>(), row.next<std::string>()};
  });
}

Result<void> Catalogue::add_setup(const Setup& setup) {
  MutexLock lock(mu_);
  const auto kind = setup.kind ? std::optional<std::string>(to_string(*setup.kind)) : std::nullopt;
  return db_.run("INSERT INTO setup (at, kind, members, sections, look, angle) VALUES (?, ?, ?, ?, ?, ?)", setup.at,
                 kind, names_text(setup.members), names_text(setup.sections), setup.look, setup.angle);
}

Result<std::optional<Setup>> Catalogue::take_back_setup() {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  auto last = TRY(db_.all(std::string(kSelectSetups) + "ORDER BY id DESC LIMIT 1", read_setup));
  if (last.empty()) return std::nullopt;
  TRY(db_.run("DELETE FROM setup WHERE id = ?", last.front().id));
  TRY(transaction.commit());
  return std::move(last.front());
}

Result<void> Catalogue::set_camera_clock(const CameraClock& clock) {
  MutexLock lock(mu_);
  return db_.run("INSERT OR REPLACE INTO camera_clock (camera, ahead_us, known_by) VALUES (?, ?, ?)", clock.camera,
                 clock.ahead, clock.known_by);
}

Result<void> Catalogue::put_setup_marks(std::span<const SetupMarks> all) {
  MutexLock lock(mu_);
  auto transaction = TRY(Transaction::begin(db_));
  TRY(db_.run("DELETE FROM mark WHERE by = 'setup'"));
  auto put =
      TRY(db_.prepare("INSERT OR IGNORE INTO mark (clip_id, field, value, by, because) VALUES (?, ?, ?, 'setup', ?)"));
  for (const auto& marks : all)
    for (const auto& [field, value] : marks.values) TRY(put.run(marks.clip, to_string(field), value, marks.because));
  return transaction.commit();
}

}  // namespace everytake::catalogue
