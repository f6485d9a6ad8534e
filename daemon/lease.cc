#include "lease.h"

#include <fmt/format.h>
#include <unistd.h>

#include <boost/filesystem/fstream.hpp>
#include <set>
#include <sstream>

#include "base/sync.h"

namespace everytake {
namespace {

std::string contents(const std::string& file) {
  boost::filesystem::ifstream in(file);
  std::ostringstream all;
  all << in.rdbuf();
  return all.str();
}

// proc(5), /proc/PID/stat, field 22: when it started, in clock ticks since boot. 0 when there is no such process. The
// command's name before it may hold blanks and brackets: counted from the last bracket on.
std::int64_t start_time(std::int64_t pid) {
  const auto stat = contents(fmt::format("/proc/{}/stat", pid));
  const auto bracket = stat.rfind(')');
  if (bracket == std::string::npos) return 0;
  std::istringstream fields(stat.substr(bracket + 1));
  std::string field;
  for (int i = 3; i <= 22; ++i) fields >> field;
  return std::atoll(field.c_str());
}

std::string boot_id() {
  return contents("/proc/sys/kernel/random/boot_id");
}

// What this process holds itself. A row of its own that is not here is one it could not take back: the disk beneath the
// catalogue failed just then, and the process need not end before the card can be used again.
class InHand {
 public:
  bool add(const Catalogue& catalogue, const std::string& card) {
    MutexLock lock(mu_);
    return cards_.insert({&catalogue, card}).second;
  }
  void drop(const Catalogue& catalogue, const std::string& card) {
    MutexLock lock(mu_);
    cards_.erase({&catalogue, card});
  }

 private:
  Mutex mu_;
  std::set<std::pair<const Catalogue*, std::string>> cards_ GUARDED_BY(mu_);
};

InHand& in_hand() {
  static InHand cards;
  return cards;
}

}  // namespace

Holder this_process() {
  return {::getpid(), boot_id(), start_time(::getpid())};
}

bool is_alive(const Holder& holder) {
  return holder.boot == boot_id() && holder.born != 0 && start_time(holder.pid) == holder.born;
}

Result<Lease> Lease::take(Catalogue& catalogue, const std::string& card, const Clock& clock) {
  const auto self = this_process();
  if (!in_hand().add(catalogue, card))
    return fail(Code::busy, "this program is working on the card already: wait for it");
  const auto alive = [&](const Holder& holder) { return holder != self && is_alive(holder); };
  if (auto taken = catalogue.take_card(card, self, clock.now(), alive); !taken) {
    in_hand().drop(catalogue, card);
    return tl::unexpected(std::move(taken.error()));
  }
  return Lease(catalogue, card);
}

Lease::~Lease() {
  if (!catalogue_) return;
  (void)catalogue_->release_card(card_, this_process());  // not released: taken over by the next
  in_hand().drop(*catalogue_, card_);
}

}  // namespace everytake
