#include "lease.h"

#include <fmt/format.h>
#include <unistd.h>

#include <boost/filesystem/fstream.hpp>
#include <sstream>

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

}  // namespace

Holder this_process() {
  return {::getpid(), boot_id(), start_time(::getpid())};
}

bool is_alive(const Holder& holder) {
  return holder.boot == boot_id() && holder.born != 0 && start_time(holder.pid) == holder.born;
}

Result<Lease> Lease::take(Catalogue& catalogue, const std::string& card, const Clock& clock) {
  TRY(catalogue.take_card(card, this_process(), clock.now(), is_alive));
  return Lease(catalogue, card);
}

Lease::~Lease() {
  if (catalogue_)
    (void)catalogue_->release_card(card_, this_process());  // not released: taken over once this process is gone
}

}  // namespace everytake
