#include "cli/verdict.h"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <map>

#include "base/text.h"

namespace everytake::cli {
namespace {

constexpr std::size_t kFilesNamed = 3;  // of each reason; the rest is counted

std::string local_clock(Instant t) {
  const auto time = std::chrono::system_clock::to_time_t(std::chrono::floor<std::chrono::seconds>(t));
  return fmt::format("{:%Y-%m-%d %H:%M}", fmt::localtime(time));
}

std::string yes_text(const Verdict& verdict, const Screen& screen) {
  std::string text =
      fmt::format("safe to wipe: {}, read back from {}", counted(verdict.files, "file"), quoted(verdict.destinations));
  if (verdict.oldest_read_back) text += " at " + local_clock(*verdict.oldest_read_back);
  text = painted(text, Tone::good, screen) + "\n";
  for (const auto& line : grounds(verdict)) text += "  " + line + "\n";
  return text + "  this holds for now: ask again after the card was in the camera\n";
}

std::string no_text(const Verdict& verdict, const Screen& screen) {
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

}  // namespace

std::string verdict_text(const Verdict& verdict, const Screen& screen) {
  return verdict.safe ? yes_text(verdict, screen) : no_text(verdict, screen);
}

Json verdict_json(const Verdict& verdict) {
  Json json;
  json["safe"] = verdict.safe;
  json["depth"] = verdict.every_byte ? "bytes" : "listing";
  json["roll"] = verdict.roll.empty() ? Json(nullptr) : Json(verdict.roll);
  json["files"] = verdict.files;
  json["destinations"] = verdict.destinations;
  json["beside"] = verdict.beside;
  json["reasons"] = Json::array();
  for (const auto& reason : verdict.reasons) {
    Json each{{"code", reason.code}};
    put_name(each, "path", reason.path.string());
    each["message"] = reason.message;
    if (!reason.destination.empty()) put_name(each, "destination", reason.destination);
    each["files"] = reason.files;
    json["reasons"].push_back(std::move(each));
  }
  return json;
}

}  // namespace everytake::cli
