#include "pipeline/card_lock.h"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <fstream>
#include <set>
#include <sstream>
#include <thread>

#include "base/sync.h"
#include "os/small_file.h"

namespace everytake::pipeline {
namespace {

std::string contents(const std::string& file) {
  std::ifstream in(file);
  std::ostringstream all;
  all << in.rdbuf();
  return all.str();
}

// proc(5), /proc/PID/stat, field 22: when it started, in clock ticks since boot. 0 when there is no such process, or
// only what is left of it until its parent asks how it ended (field 3, its state). The command's name before them may
// hold blanks and brackets: counted from the last bracket on.
std::int64_t start_time(std::int64_t pid) {
  const auto stat = contents(fmt::format("/proc/{}/stat", pid));
  const auto bracket = stat.rfind(')');
  if (bracket == std::string::npos) return 0;
  std::istringstream fields(stat.substr(bracket + 1));
  std::string field;
  fields >> field;
  if (field == "Z" || field == "X") return 0;
  for (int i = 4; i <= 22; ++i) fields >> field;
  return std::atoll(field.c_str());
}

std::string boot_id() {
  return first_line("/proc/sys/kernel/random/boot_id");
}

// hostname(7) and machine-id(5), as they were at first: what this process holds must stay its own.
const std::string& this_machine() {
  static const std::string machine = [] {
    auto name = first_line("/proc/sys/kernel/hostname");
    std::erase_if(name, [](char c) { return c == '#' || c == '/'; });
    const auto number = first_line("/etc/machine-id");
    return number.empty() ? name : name + "#" + number;
  }();
  return machine;
}

// A machine may be given another name; its number stays.
std::string_view number_of(std::string_view machine) {
  const auto at = machine.find('#');
  return at == std::string_view::npos ? machine : machine.substr(at);
}

// Rows from before machines were kept hold a boot alone, and a line feed.
std::string boot_of(const catalogue::Holder& holder) {
  auto boot = holder.boot.substr(holder.boot.find('/') + 1);  // from its begin on where there is none
  boot.resize(std::min(boot.find('\n'), boot.size()));
  return boot;
}

// What this process holds itself. A row of its own that is not here is one it could not take back: the disk beneath the
// catalogue failed just then, and the process need not end before the card can be used again.
class InHand {
 public:
  bool add(const catalogue::Catalogue& catalogue, const std::string& card) {
    MutexLock lock(mu_);
    return cards_.insert({&catalogue, card}).second;
  }
  void drop(const catalogue::Catalogue& catalogue, const std::string& card) {
    MutexLock lock(mu_);
    cards_.erase({&catalogue, card});
  }

 private:
  Mutex mu_;
  std::set<std::pair<const catalogue::Catalogue*, std::string>> cards_ GUARDED_BY(mu_);
};

InHand& in_hand() {
  static InHand cards;
  return cards;
}

}  // namespace

catalogue::Holder this_process() {
  return {::getpid(), this_machine() + "/" + boot_id(), start_time(::getpid())};
}

bool is_of_this_machine(const catalogue::Holder& holder) {
  return holder.machine().empty() || boot_of(holder) == boot_id() ||
         number_of(holder.machine()) == number_of(this_machine());
}

bool is_alive(const catalogue::Holder& holder) {
  if (boot_of(holder) == boot_id()) return holder.born != 0 && start_time(holder.pid) == holder.born;
  return !is_of_this_machine(holder);
}

Result<CardLock> CardLock::take(catalogue::Catalogue& catalogue, const std::string& card, const Clock& clock) {
  const auto self = this_process();
  if (!in_hand().add(catalogue, card)) return fail(Code::busy, "this program is copying the card already: wait for it");
  const auto alive = [&](const catalogue::Holder& holder) { return holder != self && is_alive(holder); };
  if (auto taken = catalogue.take_card(card, self, clock.now(), alive); !taken) {
    in_hand().drop(catalogue, card);
    return tl::unexpected(std::move(taken.error()));
  }
  return CardLock(catalogue, card);
}

Result<CardLock> CardLock::take_notes(catalogue::Catalogue& catalogue, const Clock& clock) {
  using namespace std::chrono_literals;
  for (const auto end = clock.steady() + 60s;;) {
    auto taken = take(catalogue, catalogue::kNotesBesideTheRolls, clock);
    if (taken || taken.error().code != Code::busy || clock.steady() > end) return taken;
    std::this_thread::sleep_for(20ms);  // a row: nothing tells when another process takes it back
  }
}

CardLock::~CardLock() {
  if (!catalogue_) return;
  (void)catalogue_->release_card(card_, this_process());  // not released: taken over by the next
  in_hand().drop(*catalogue_, card_);
}

}  // namespace everytake::pipeline
