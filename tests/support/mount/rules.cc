#include "support/mount/rules.h"
#include "support/rooms.h"

#include <fnmatch.h>

#include <algorithm>
#include <charconv>
#include <chrono>
#include <map>
#include <set>
#include <sstream>
#include <thread>

namespace everytake::test {
namespace {

const std::map<std::string, int> kErrors{
    {"EIO", EIO},       {"ENODEV", ENODEV}, {"ENXIO", ENXIO},   {"ESTALE", ESTALE}, {"ENOMEDIUM", ENOMEDIUM},
    {"ENOSPC", ENOSPC}, {"EDQUOT", EDQUOT}, {"EEXIST", EEXIST}, {"EINVAL", EINVAL}, {"EROFS", EROFS},
    {"EACCES", EACCES}, {"EFBIG", EFBIG},   {"ENOMEM", ENOMEM}, {"EMFILE", EMFILE}, {"ENOTCONN", ENOTCONN}};

const std::set<std::string> kActions{"err",    "gone",     "stall", "delay", "slow", "flip", "zero", "short",
                                     "append", "truncate", "touch", "drop",  "torn", "hide", "dup",  "loop"};

bool set_number(FaultRule& rule, const std::string& key, std::uint64_t value) {
  const std::map<std::string, std::uint64_t*> large{{"at", &rule.at},    {"len", &rule.len}, {"to", &rule.to},
                                                    {"max", &rule.max},  {"ms", &rule.ms},   {"mbps", &rule.mbps},
                                                    {"over", &rule.over}};
  const std::map<std::string, int*> small{{"on", &rule.on}, {"after", &rule.after}, {"times", &rule.times}};
  if (key == "at") rule.has_at = true;
  if (const auto it = large.find(key); it != large.end())
    *it->second = value;
  else if (const auto other = small.find(key); other != small.end())
    *other->second = static_cast<int>(value);
  else
    return false;
  return true;
}

bool set_key(FaultRule& rule, const std::string& word) {
  const auto equals = word.find('=');
  if (equals == std::string::npos) return false;
  const auto key = word.substr(0, equals), value = word.substr(equals + 1);
  if (key == "name") {
    rule.entry = value;
    return true;
  }
  if (key == "errno") {
    const auto it = kErrors.find(value);
    if (it != kErrors.end()) rule.error = it->second;
    return it != kErrors.end();
  }
  std::uint64_t number = 0;
  const auto [end, error] = std::from_chars(value.data(), value.data() + value.size(), number);
  return error == std::errc{} && end == value.data() + value.size() && set_number(rule, key, number);
}

bool read_rule(const std::string& line, FaultRule& rule) {
  std::istringstream words(line);
  if (!(words >> rule.operation >> rule.name >> rule.action)) return false;
  rule.error = EIO;
  if (rule.action == "eio") rule.action = "err";
  if (!kActions.count(rule.action)) return false;
  if (rule.action == "append" || rule.action == "truncate" || rule.action == "touch") rule.times = 1;
  for (std::string word; words >> word;)
    if (!set_key(rule, word)) return false;
  return true;
}

bool fits(const std::string& pattern, const std::string& path) {
  const auto name = pattern.find('/') == std::string::npos ? path.substr(path.rfind('/') + 1) : path;
  return ::fnmatch(pattern.c_str(), name.c_str(), 0) == 0;
}

}  // namespace

std::string FaultRules::set(const std::string& text) {
  std::vector<FaultRule> rules;
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) {
    if (line.find_first_not_of(' ') == std::string::npos) continue;
    if (FaultRule rule; read_rule(line, rule))
      rules.push_back(rule);
    else
      return line;
  }
  MutexLock lock(mu_);
  rules_ = std::move(rules);
  gone_ = 0;
  ++generation_;
  changed_.notify_all();
  return "";
}

bool FaultRules::meets(FaultRule& rule, const FaultCall& call) {
  if (rule.operation != "any" && rule.operation != call.operation) return false;
  if (!fits(rule.name, call.path)) return false;
  if (rule.has_at && (call.offset > rule.at || rule.at >= call.offset + call.size)) return false;
  const bool counts_openings = call.operation == "read";
  const bool cuts_short = rule.operation == "readdir" && rule.action == "err";  // `after` counts its entries
  ++rule.calls;
  if (rule.on > 0 && rule.on != (counts_openings ? call.opening : rule.calls)) return false;
  if (!cuts_short && rule.calls <= rule.after) return false;
  if (rule.over > written_ || (rule.times > 0 && rule.met >= rule.times)) return false;
  ++rule.met;
  return true;
}

std::vector<FaultRule> FaultRules::take(const FaultCall& call) {
  std::vector<FaultRule> met;
  if (gone_) {
    met.emplace_back();
    met.back().action = "err";
    met.back().error = gone_;
    return met;
  }
  for (auto& rule : rules_) {
    if (!meets(rule, call)) continue;
    met.push_back(rule);
    if (rule.action == "gone") gone_ = rule.error;
    if (rule.action == "gone") met.back().action = "err";
  }
  return met;
}

std::vector<FaultRule> FaultRules::meet(const FaultCall& call) {
  std::vector<FaultRule> met;
  {
    MutexLock lock(mu_);
    met = take(call);
    const bool stalls = std::any_of(met.begin(), met.end(), [](const auto& rule) { return rule.action == "stall"; });
    stalled_ += stalls ? 1 : 0;
    for (const int then = generation_; stalls && generation_ == then;) changed_.wait(mu_);
    stalled_ -= stalls ? 1 : 0;
  }
  for (const auto& rule : met) {
    if (rule.action == "delay") std::this_thread::sleep_for(std::chrono::milliseconds(rule.ms));
    if (rule.action == "slow") std::this_thread::sleep_for(std::chrono::microseconds(call.size / rule.mbps));
  }
  return met;
}

void FaultRules::wrote(std::uint64_t bytes) {
  MutexLock lock(mu_);
  written_ += bytes;
}

int FaultRules::stalled() {
  MutexLock lock(mu_);
  return stalled_;
}

}  // namespace everytake::test
