#include "service/folder_watch.h"

#include <fmt/format.h>
#include <poll.h>
#include <sys/inotify.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>

#include "base/text.h"
#include "card/recognise.h"
#include "card/scan.h"
#include "os/posix_fs.h"
#include "os/system_error.h"

namespace everytake::service {
namespace {

using namespace std::chrono_literals;

constexpr auto kRarestList = 5s;  // servers and drivers in user space tell no changes
constexpr std::uint32_t kChanges = IN_CREATE | IN_MOVED_TO | IN_DELETE | IN_MOVED_FROM | IN_DELETE_SELF | IN_MOVE_SELF;

void drain(int changes) {
  std::array<char, 4096> events;
  while (::read(changes, events.data(), events.size()) > 0) {
  }
}

}  // namespace

FolderWatch::FolderWatch(Path folder, card::SteadyLength settle, CardQueue& cards, const Clock& clock, Log& log,
                         Descriptor changes, Event stopped)
    : folder_(std::move(folder)),
      cards_(cards),
      clock_(clock),
      log_(log),
      changes_(std::move(changes)),
      stopped_(std::move(stopped)),
      arrivals_(settle) {}

Result<std::unique_ptr<FolderWatch>> FolderWatch::open(const Path& folder, card::SteadyLength settle, CardQueue& cards,
                                                       const Clock& clock, Log& log) {
  TRY(PosixFs::open_at(folder));
  Descriptor changes(::inotify_init1(IN_CLOEXEC | IN_NONBLOCK));
  if (changes.get() < 0) return tl::unexpected(system_error("can't watch folders", errno));
  auto stopped = TRY(Event::open());
  return std::unique_ptr<FolderWatch>(
      new FolderWatch(folder, settle, cards, clock, log, std::move(changes), std::move(stopped)));
}

void FolderWatch::run(std::stop_token stop) {
  const std::stop_callback ring(stop, [this] { stopped_.ring(); });
  while (!stop.stop_requested()) {
    see_children();
    for (const auto& child : children_)
      if (const auto now = clock_.steady(); arrivals_.next_look(child, now) <= now) look_at(child, stop);
    sleep_until(next_look());
  }
}

pipeline::Exit FolderWatch::run_once(std::stop_token stop) {
  const std::stop_callback ring(stop, [this] { stopped_.ring(); });
  see_children();
  for (const auto& child : children_) look_at(child, stop);
  for (const auto& child : children_) {
    for (auto now = clock_.steady(); !stop.stop_requested() && now < arrivals_.next_look(child, now);
         now = clock_.steady())
      sleep_until(arrivals_.next_look(child, now));
    look_at(child, stop);
  }
  auto exit = told_.count("") ? pipeline::Exit::bad_input : pipeline::Exit::done;
  for (const auto& child : children_) {
    if (!arrivals_.is_waiting(child)) continue;
    tell(child, "is still being written to; left for another time");
    exit = pipeline::worse(exit, pipeline::Exit::no);
  }
  return exit;
}

Result<std::set<std::string>> FolderWatch::list_children() const {
  const auto fs = TRY(PosixFs::open_at(folder_));
  std::set<std::string> children;
  for (const auto& entry : TRY(fs->list({})))
    if (entry.type == FileType::directory && !entry.name.starts_with('.')) children.insert(entry.name);
  return children;
}

void FolderWatch::see_children() {
  // Again each time: a folder that was taken away and put back is another one to the kernel. Without it the next list
  // still comes.
  (void)::inotify_add_watch(changes_.get(), folder_.c_str(), kChanges | IN_ONLYDIR);
  auto now = list_children();
  if (now)
    told_.erase("");
  else
    tell("", now.error().what);
  auto children = now ? std::move(*now) : std::set<std::string>();
  for (const auto& child : children_) {
    if (children.count(child)) continue;
    cards_.forget(folder_ / child);
    told_.erase(child);
  }
  arrivals_.keep_only(children);
  children_ = std::move(children);
}

void FolderWatch::look_at(const std::string& child, std::stop_token stop) {
  if (stop.stop_requested()) return;
  auto listing = listing_of(child, stop);
  if (!listing && listing.error().code == Code::cancelled) return;
  const auto at = clock_.steady();
  if (!listing) {
    tell(child, listing.error().what);
    arrivals_.ready(child, {}, at);
    return;
  }
  const bool holds_clips = !card::clips_of(*listing).empty();
  if (!arrivals_.ready(child, std::move(*listing), at)) return;
  if (!holds_clips) return tell(child, "no recording in it; skipped");
  told_.erase(child);
  if (!cards_.offer({folder_ / child, CardJob::From::folder})) tell(child, "too many cards wait already; skipped");
}

Result<Listing> FolderWatch::listing_of(const std::string& child, std::stop_token stop) const {
  const auto fs = TRY(PosixFs::open_at(folder_ / child));
  return card::scan(*fs, std::move(stop));
}

void FolderWatch::tell(const std::string& child, const std::string& what) {
  if (std::exchange(told_[child], what) == what) return;
  log_.say(fmt::format("{}: {}", shown((child.empty() ? folder_ : folder_ / child).native()), what));
}

card::SteadyTime FolderWatch::next_look() const {
  const auto now = clock_.steady();
  card::SteadyTime next = now + kRarestList;
  for (const auto& child : children_) next = std::min(next, arrivals_.next_look(child, now));
  return next;
}

void FolderWatch::sleep_until(card::SteadyTime time) const {
  const auto left = std::chrono::ceil<std::chrono::milliseconds>(time - clock_.steady());
  pollfd events[] = {{changes_.get(), POLLIN, 0}, {stopped_.fd(), POLLIN, 0}};
  if (left > 0ms) (void)::poll(events, std::size(events), static_cast<int>(left.count()));
  drain(changes_.get());
}

}  // namespace everytake::service
