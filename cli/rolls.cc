#include <fmt/format.h>

#include <CLI/App.hpp>
#include <boost/filesystem/operations.hpp>
#include <map>

#include "base/text.h"
#include "catalogue/catalogue.h"
#include "cli/answer.h"
#include "cli/shoot.h"

namespace everytake::cli {
namespace {

struct RollSum {
  struct At {
    std::size_t verified = 0, unfinished = 0, failed = 0;
  };
  Roll roll;
  std::size_t files = 0;
  std::uint64_t bytes = 0;
  std::map<std::int64_t, At> at;  // by destination
};

Result<std::vector<RollSum>> sums_of(Catalogue& catalogue) {
  std::vector<RollSum> sums;
  for (auto& roll : TRY(catalogue.rolls())) {
    RollSum sum{roll, 0, 0, {}};
    for (const auto& file : TRY(catalogue.files_of_roll(roll.id))) {
      ++sum.files;
      sum.bytes += file.file.size;
      for (const auto& copy : file.copies) {
        auto& at = sum.at[copy.destination.value];
        if (copy.state == CopyState::verified)
          ++at.verified;
        else if (copy.state == CopyState::failed)
          ++at.failed;
        else
          ++at.unfinished;
      }
    }
    sums.push_back(std::move(sum));
  }
  return sums;
}

std::string text_of(const std::vector<RollSum>& sums, const std::vector<DestinationRow>& destinations,
                    const Screen& screen) {
  using Align = Column::Align;
  std::vector<std::vector<Cell>> rows;
  for (const auto& sum : sums)
    for (const auto& destination : destinations) {
      const auto it = sum.at.find(destination.id.value);
      const RollSum::At at = it == sum.at.end() ? RollSum::At{} : it->second;
      const bool whole = at.verified == sum.files;
      rows.push_back({{sum.roll.name},
                      {sum.roll.card_label},
                      {std::to_string(sum.files)},
                      {bytes_text(sum.bytes)},
                      {destination.name},
                      {whole ? "verified"
                             : fmt::format("{} verified, {} unfinished, {} failed", at.verified,
                                           sum.files - at.verified - at.failed, at.failed),
                       whole ? Tone::good : Tone::bad}});
    }
  return table(
      {{"roll"}, {"card", Align::left, true}, {"files", Align::right}, {"size", Align::right}, {"at"}, {"state"}}, rows,
      screen);
}

Json json_of(const std::vector<RollSum>& sums, const std::vector<DestinationRow>& destinations) {
  Json list = Json::array();
  for (const auto& sum : sums) {
    Json roll{{"name", sum.roll.name}, {"opened_at", iso8601(sum.roll.opened_at)}};
    put_name(roll, "card", sum.roll.card_label);
    roll["files"] = sum.files;
    roll["bytes"] = sum.bytes;
    roll["destinations"] = Json::array();
    for (const auto& destination : destinations) {
      const auto it = sum.at.find(destination.id.value);
      const RollSum::At at = it == sum.at.end() ? RollSum::At{} : it->second;
      Json each;
      put_name(each, "name", destination.name);
      each["state"] = at.verified == sum.files ? "verified" : at.failed > 0 ? "failed" : "incomplete";
      each["verified_files"] = at.verified;
      each["failed_files"] = at.failed;
      roll["destinations"].push_back(std::move(each));
    }
    list.push_back(std::move(roll));
  }
  return {{"rolls", std::move(list)}};
}

Result<void> print_rolls(const Shoot& shoot, Session& session) {
  const bool begun = boost::filesystem::exists(shoot.catalogue());
  std::vector<RollSum> sums;
  std::vector<DestinationRow> destinations;
  if (begun) {
    const auto catalogue = TRY(Catalogue::open(shoot.catalogue()));
    sums = TRY(sums_of(*catalogue));
    destinations = TRY(catalogue->destinations());
  }
  if (session.json)
    print_json(json_of(sums, destinations), session);
  else if (sums.empty())
    remark("No rolls yet: offload a card first.", session);
  else
    session.out << text_of(sums, destinations, session.out_screen);
  return {};
}

}  // namespace

Run declare_rolls(CLI::App&) {
  return [](Session& session) {
    const auto shoot = load_shoot(session);
    if (!shoot) return shoot.error();
    const auto printed = print_rolls(*shoot, session);
    return printed ? Exit::done : report(printed.error(), session);
  };
}

}  // namespace everytake::cli
