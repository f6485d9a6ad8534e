#include <fmt/format.h>

#include <CLI/App.hpp>

#include "base/text.h"
#include "catalogue/catalogue.h"
#include "cli/answer.h"
#include "cli/shoot.h"
#include "os/volume.h"
#include "pipeline/card_lock.h"
#include "pipeline/match_destinations.h"
#include "pipeline/room.h"

namespace everytake::cli {
namespace {

struct Disk {
  std::string name;
  Path path;
  std::optional<Problem> absence;
  // In bytes, and of recording; the last at the rate that nine of ten clips don't pass. nullopt where it is not here,
  // or does not tell.
  std::optional<std::uint64_t> free, total;
  std::optional<Micros> left, left_careful;
  std::size_t waiting_files = 0;  // known, and not verified there
  std::uint64_t waiting_bytes = 0;
};

struct Status {
  std::vector<Disk> disks;
  pipeline::RecordingRate rate;
  std::vector<catalogue::CardInHand> copying;
};

void add_waiting(const std::vector<catalogue::RollSummary>& rolls, std::vector<Disk>& disks) {
  for (auto& disk : disks)
    for (const auto& roll : rolls) {
      std::size_t verified = 0;
      std::uint64_t bytes = 0;
      for (const auto& at : roll.destinations)
        if (at.destination == disk.name) {
          verified = at.verified;
          bytes = at.verified_bytes;
        }
      disk.waiting_files += roll.files - verified;
      disk.waiting_bytes += roll.bytes - std::min(roll.bytes, bytes);
    }
}

Result<Status> status_of(const pipeline::Shoot& shoot) {
  Status status;
  auto open = pipeline::open_destinations(shoot.plan.destinations);
  const auto catalogue = TRY(look_into_catalogue(shoot));
  const auto rows = TRY(catalogue->destinations());
  const auto rolls = TRY(catalogue->roll_summaries());
  const auto clips = TRY(catalogue->clips());
  for (auto& card : TRY(catalogue->cards_in_hand()))
    if (pipeline::is_alive(card.holder)) status.copying.push_back(std::move(card));
  status.rate = pipeline::recording_rates(clips).front();
  for (const auto& place : pipeline::match_destinations(open, rows)) {
    const auto& volume = place.open->volume;
    Disk disk{place.open->planned.name, place.open->planned.path, place.absence, {}, {}, {}, {}, 0, 0};
    if (place.is_here() && tells_room(volume)) {
      disk.free = volume.free_bytes;
      disk.total = volume.total_bytes;
      disk.left = pipeline::recording_left(*disk.free, *disk.total, status.rate.median);
      disk.left_careful = pipeline::recording_left(*disk.free, *disk.total, status.rate.high);
    }
    status.disks.push_back(std::move(disk));
  }
  add_waiting(rolls, status.disks);
  return status;
}

std::string rate_text(const pipeline::RecordingRate& rate) {
  const double median = rate.median / 1e6;
  const auto mbits = median < 10 ? fmt::format("{:.2g} Mbit/s", median) : fmt::format("{:.0f} Mbit/s", median);
  if (rate.assumed) return fmt::format("Minutes at {}, assumed ({}): no clip was measured yet", mbits, rate.what);
  return fmt::format("Minutes at {}, measured on {} ({})", mbits, counted(rate.clips, "clip"), shown(rate.what));
}

std::string rolls_of(const catalogue::CardInHand& card) {
  return card.rolls.empty() ? "a new card" : shown(joined(card.rolls));
}

// A process of another machine may be there no more: it can't be asked.
std::string elsewhere(const catalogue::Holder& holder) {
  if (pipeline::is_of_this_machine(holder)) return "";
  return fmt::format(" on the computer \"{}\", by what it left", shown(holder.machine_name()));
}

void print(const Status& status, Session& session) {
  using Align = Column::Align;
  std::vector<std::vector<Cell>> rows;
  for (const auto& disk : status.disks) {
    const bool here = !disk.absence;
    rows.push_back(
        {{disk.name},
         !here       ? Cell{"not there", Tone::bad}
         : disk.free ? Cell{bytes_text(*disk.free) + " of " + bytes_text(*disk.total)}
                     : Cell{"not told"},
         {disk.left ? fmt::format("{:.0f} min", seconds(*disk.left) / 60) : ""},
         disk.waiting_files == 0
             ? Cell{"nothing", Tone::good}
             : Cell{counted(disk.waiting_files, "file") + ", " + bytes_text(disk.waiting_bytes), Tone::warning}});
  }
  session.out << table({{"destination"}, {"free", Align::right}, {"recording left", Align::right}, {"queued"}}, rows,
                       session.out_screen)
              << rate_text(status.rate) << '\n';
  for (const auto& card : status.copying)
    session.out << fmt::format("Copying: {}, since {} (process {}{})\n", rolls_of(card), local_time(card.since),
                               card.holder.pid, elsewhere(card.holder));
  if (status.copying.empty()) session.out << "Nothing is being copied.\n";
}

Json json_of(const Status& status) {
  Json json{{"destinations", Json::array()}, {"copying", Json::array()}};
  for (const auto& disk : status.disks) {
    const bool here = !disk.absence;
    Json row;
    put_name(row, "name", disk.name);
    put_name(row, "path", disk.path.string());
    row["state"] = here ? "here" : disk.absence->code == ProblemCode::other_disk ? "other_disk" : "absent";
    row["free_bytes"] = maybe(disk.free);
    row["total_bytes"] = maybe(disk.total);
    row["recording_left_s"] = disk.left ? Json(seconds(*disk.left)) : Json(nullptr);
    row["recording_left_careful_s"] = disk.left_careful ? Json(seconds(*disk.left_careful)) : Json(nullptr);
    row["waiting_files"] = disk.waiting_files;
    row["waiting_bytes"] = disk.waiting_bytes;
    json["destinations"].push_back(std::move(row));
  }
  json["rate"] = {{"bits_per_second", status.rate.median},
                  {"careful_bits_per_second", status.rate.high},
                  {"measured", !status.rate.assumed},
                  {"clips", status.rate.clips},
                  {"what", status.rate.what}};
  for (const auto& card : status.copying)
    json["copying"].push_back(
        {{"rolls", card.rolls},
         {"since", iso8601(card.since)},
         {"process", card.holder.pid},
         {"machine",
          pipeline::is_of_this_machine(card.holder) ? Json(nullptr) : Json(shown(card.holder.machine_name()))}});
  return json;
}

}  // namespace

Run declare_status(CLI::App&) {
  return [](Session& session) {
    const auto shoot = load_shoot_for_copies(session);
    if (!shoot) return shoot.error();
    const auto status = status_of(*shoot);
    if (!status) return report(status.error(), session);
    if (session.json)
      print_json(json_of(*status), session);
    else
      print(*status, session);
    return pipeline::Exit::done;
  };
}

}  // namespace everytake::cli
