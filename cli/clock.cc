#include <fmt/format.h>

#include <CLI/App.hpp>
#include <algorithm>
#include <map>

#include "base/text.h"
#include "cli/answer.h"
#include "cli/choose.h"
#include "cli/shoot.h"
#include "cli/values.h"
#include "pipeline/setups.h"
#include "setup/assign.h"

namespace everytake::cli {
namespace {

struct Options {
  std::optional<std::string> camera, ahead;
};

struct Row {
  std::string camera;
  std::optional<CameraClock> clock;
  std::size_t clips = 0;
};

Result<std::vector<Row>> rows_of(const catalogue::Catalogue& catalogue) {
  std::map<std::string, Row> rows;
  for (const auto& clip : TRY(catalogue.clips()))
    if (clip.facts.camera) ++rows[*clip.facts.camera].clips;
  for (auto& clock : TRY(catalogue.camera_clocks())) rows[clock.camera].clock = clock;
  std::vector<Row> list;
  for (auto& [camera, row] : rows) {
    row.camera = camera;
    list.push_back(std::move(row));
  }
  return list;
}

std::string known_text(const Row& row) {
  if (!row.clock) return "taken to be right";
  return row.clock->known_by == "slate" ? "by a filmed slate" : "said by hand";
}

std::string text_of(const std::vector<Row>& rows, const Screen& screen) {
  std::vector<std::vector<Cell>> cells;
  for (const auto& row : rows)
    cells.push_back({{row.camera},
                     {setup::ahead_text(row.clock ? row.clock->ahead : Micros::zero())},
                     {known_text(row)},
                     {std::to_string(row.clips)}});
  return table({{"camera", Column::Align::left, true},
                {"ahead by", Column::Align::right},
                {"how known"},
                {"clips", Column::Align::right}},
               cells, screen);
}

Json json_of(const std::vector<Row>& rows) {
  Json list = Json::array();
  for (const auto& row : rows) {
    Json each;
    put_name(each, "camera", row.camera);
    each["ahead_s"] = row.clock ? Json(seconds(row.clock->ahead)) : Json();
    each["known_by"] = row.clock ? Json(row.clock->known_by) : Json();
    each["clips"] = row.clips;
    list.push_back(std::move(each));
  }
  return {{"cameras", std::move(list)}};
}

Result<std::vector<Row>> run(const Options& options, const pipeline::Shoot& shoot) {
  if (!options.camera) return rows_of(*TRY(look_into_catalogue(shoot)));
  const auto catalogue = TRY(catalogue::Catalogue::open(shoot.catalogue()));
  std::vector<std::string> cameras;
  for (const auto& row : TRY(rows_of(*catalogue))) cameras.push_back(row.camera);
  const auto known =
      std::ranges::find_if(cameras, [&](const auto& each) { return same_letters(each, *options.camera); });
  if (known == cameras.end()) {
    const auto meant = nearest(*options.camera, cameras);
    return fail(Code::invalid, fmt::format("no clip is of a camera \"{}\"{}", shown(*options.camera),
                                           meant ? fmt::format("; did you mean \"{}\"?", shown(*meant))
                                                 : std::string(": everytake clock lists those that are known")));
  }
  TRY(catalogue->set_camera_clock({*known, *setup::parse_ahead(*options.ahead), "hand"}));
  TRY(pipeline::apply_setups(*catalogue));
  return rows_of(*catalogue);
}

}  // namespace

Run declare_clock(CLI::App& command) {
  const auto options = std::make_shared<Options>();
  auto* camera = command.add_option("--camera", options->camera, "the camera, as the list names it");
  auto* ahead = command
                    .add_option("--ahead", options->ahead,
                                "how far its clock is ahead of this computer's; -0:00:04 where it is behind")
                    ->type_name("H:MM:SS")
                    ->check(written_as(setup::parse_ahead, "write hours, minutes and seconds, as in 1:02:30"));
  camera->needs(ahead);
  ahead->needs(camera);
  return [options](Session& session) {
    const auto shoot = load_shoot(session);
    if (!shoot) return shoot.error();
    const auto rows = run(*options, *shoot);
    if (!rows) return report(rows.error(), session);
    if (session.json)
      print_json(json_of(*rows), session);
    else if (rows->empty())
      remark("No camera is known yet: offload a card first.", session);
    else
      session.out << text_of(*rows, session.out_screen);
    return pipeline::Exit::done;
  };
}

}  // namespace everytake::cli
