#include "cli/verdict.h"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <map>

#include "base/text.h"

namespace everytake::cli {
namespace {

constexpr std::size_t kFilesNamed = 3;  // of each reason; the rest is counted

std::string yes_text(const offload::Verdict& verdict, const Screen& screen) {
  auto text = painted(fmt::format("safe to wipe: {}, each read back from {}", counted(verdict.files, "file"),
                                  quoted(verdict.destinations)),
                      Tone::good, screen) +
              "\n";
  if (verdict.oldest_read_back)
    text += fmt::format("  the oldest copy was read back at {}; to read all again: everytake verify\n",
                        local_time(*verdict.oldest_read_back));
  for (const auto& line : offload::grounds(verdict)) text += "  " + line + "\n";
  return text + "  this holds for now: ask again after the card was in the camera\n";
}

std::string no_text(const offload::Verdict& verdict, const Screen& screen) {
  // Reasons that say the same stand together; of each the first files are named.
  std::vector<std::string> order;
  std::map<std::string, std::vector<std::string>> files;
  for (const auto& reason : verdict.reasons) {
    if (!files.count(reason.message)) order.push_back(reason.message);
    files[reason.message].push_back(shown(reason.path.string()));
  }
  std::string text = painted("do not wipe this card", Tone::bad, screen) + "\n";
  for (const auto& message : order) {
    const auto& about = files[message];
    for (std::size_t i = 0; i < std::min(kFilesNamed, about.size()); ++i)
      text += fmt::format("  {}{}{}\n", about[i], about[i].empty() ? "" : " ", message);
    if (about.size() > kFilesNamed) text += fmt::format("  … and {} more\n", about.size() - kFilesNamed);
  }
  return text;
}

// A path as a shell takes it, where it can be shown at all.
std::string as_typed(const Path& path) {
  auto text = shown(path.string());
  if (text.find_first_of(" \"'\\$`&|;<>()*?[]#~!{}") == std::string::npos) return text;
  for (auto at = text.find('\''); at != std::string::npos; at = text.find('\'', at + 4)) text.replace(at, 1, "'\\''");
  return "'" + text + "'";
}

// What to do about a no; nothing where the reasons say it.
std::string next_text(const offload::Verdict& verdict, const Path& card) {
  using offload::ReasonCode;
  constexpr std::array kAway{ReasonCode::destination_absent};
  constexpr std::array kCopies{ReasonCode::missing_copy, ReasonCode::copy_changed, ReasonCode::unverified_copy,
                               ReasonCode::destination_absent};
  constexpr std::array kCard{ReasonCode::new_file, ReasonCode::changed_file, ReasonCode::not_offloaded,
                             ReasonCode::read_problem, ReasonCode::too_few_copies};
  const auto among = [](const auto& codes) {
    return [&](const offload::Verdict::Reason& reason) { return std::ranges::find(codes, reason.code) != codes.end(); };
  };
  const auto offload = "  next: everytake offload " + as_typed(card);
  if (verdict.files == 0) return "";
  if (std::ranges::all_of(verdict.reasons, among(kAway))) return "  next: connect it, then ask again\n";
  if (std::ranges::any_of(verdict.reasons, among(kCard))) return offload + "\n";
  if (std::ranges::all_of(verdict.reasons, among(kCopies)))
    return offload + ", or without the card: everytake verify --repair\n";
  return "";
}

}  // namespace

std::string verdict_text(const offload::Verdict& verdict, const Path& card, const Screen& screen) {
  return verdict.safe ? yes_text(verdict, screen) : no_text(verdict, screen) + next_text(verdict, card);
}

Json verdict_json(const offload::Verdict& verdict) {
  Json json;
  json["safe"] = verdict.safe;
  json["depth"] = verdict.every_byte ? "bytes" : "listing";
  json["roll"] = verdict.roll.empty() ? Json(nullptr) : Json(verdict.roll);
  json["files"] = verdict.files;
  json["destinations"] = verdict.destinations;
  json["beside"] = verdict.beside;
  json["reasons"] = Json::array();
  for (const auto& reason : verdict.reasons) {
    Json each{{"code", to_string(reason.code)}};
    put_name(each, "path", reason.path.string());
    each["message"] = reason.message;
    if (!reason.destination.empty()) put_name(each, "destination", reason.destination);
    each["files"] = reason.files;
    json["reasons"].push_back(std::move(each));
  }
  return json;
}

}  // namespace everytake::cli
