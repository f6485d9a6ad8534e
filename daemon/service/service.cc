#include "service/service.h"

#include <fmt/format.h>
#include <poll.h>
#include <sys/signalfd.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <csignal>
#include <functional>
#include <thread>

#include "base/text.h"
#include "card/watch.h"
#include "os/event.h"
#include "os/paths.h"
#include "service/background_study.h"
#include "service/card_visit.h"
#include "service/folder_watch.h"
#include "service/shoot_lock.h"

namespace everytake::service {
namespace {

using namespace std::chrono_literals;

constexpr int kWorkers = 8;  // cards at once: more than one person has readers
constexpr std::size_t kMostWaiting = 1000;
constexpr auto kPatience = 900ms;

// Threads, and word of it when the last of them has ended.
class Crew {
 public:
  explicit Crew(const Event& ended) : ended_(ended) {}

  void start(std::function<void()> work) {
    ++running_;
    threads_.emplace_back([this, work = std::move(work)] {
      work();
      one_less();
    });
  }
  void complete() { one_less(); }                  // all are started
  bool all_done() const { return running_ == 0; }  // then what they wrote may be read

 private:
  void one_less() {
    if (--running_ == 0) ended_.ring();
  }

  const Event& ended_;
  std::atomic<int> running_{1};  // until complete()
  std::vector<std::jthread> threads_;
};

// Folders that are no card's, links resolved: the table of mounts knows none.
std::vector<Path> kept_folders(const pipeline::Shoot& shoot, const ServiceOptions& options) {
  std::vector<Path> kept{shoot.folder};
  for (const auto& destination : shoot.plan.destinations) kept.push_back(destination.path);
  kept.insert(kept.end(), options.watched.begin(), options.watched.end());
  for (auto& folder : kept) folder = resolved(folder);
  return kept;
}

class Service {
 public:
  struct Parts {
    ShootLock lock;
    std::unique_ptr<catalogue::Catalogue> catalogue;
    Descriptor mounts;
    Event ended;
  };

  Service(pipeline::Shoot shoot, const ServiceOptions& options, int signals, const Clock& clock, Log& log, Parts parts)
      : options_(options),
        signals_(signals),
        clock_(clock),
        log_(log),
        kept_(kept_folders(shoot, options)),
        parts_(std::move(parts)),
        plan_(std::move(shoot), log),
        context_{*parts_.catalogue, plan_, clock_, log_, card_priority_, [this] { study_.wake(); }},
        cards_(kMostWaiting),
        study_(context_),
        crew_(parts_.ended) {}

  Result<void> open_watches() {
    for (const auto& folder : options_.watched)
      watches_.push_back(TRY(FolderWatch::open(folder, options_.settle, cards_, clock_, log_)));
    return {};
  }

  pipeline::Exit run() {
    mounts_changed();
    start_threads();
    while (true) {
      pollfd events[] = {{signals_, POLLIN, 0}, {parts_.mounts.get(), POLLPRI, 0}, {parts_.ended.fd(), POLLIN, 0}};
      if (::poll(events, std::size(events), wait_ms()) < 0 && errno != EINTR) std::abort();  // a bug: bad arguments
      if (events[0].revents) take_signal();
      if (events[1].revents) mounts_changed();
      if (events[2].revents && crew_.all_done())
        return signal_ ? pipeline::exit_by(signal_) : pipeline::worse(cards_.worst(), watches_exit_);
      if (signal_ && clock_.steady() >= patience_ends_) leave_the_stuck();
    }
  }

 private:
  void start_threads() {
    const auto stop = stop_.get_token();
    for (int i = 0; i < kWorkers; ++i) crew_.start([this, stop] { work(stop); });
    crew_.start([this, stop] { study_.run(stop); });
    study_.wake();  // what an earlier run left
    if (options_.once)
      crew_.start([this, stop] { work_once(stop); });
    else
      for (auto& watch : watches_) crew_.start([&watch, stop] { watch->run(stop); });
    crew_.complete();
  }

  void work(std::stop_token stop) {
    while (const auto job = cards_.take()) {
      const auto visited = visit_card(*job, context_, stop);
      if (visited.busy)
        cards_.put_off(job->root, visited.exit);
      else
        cards_.done(job->root, visited.exit);
      study_.wake();
    }
  }

  void work_once(std::stop_token stop) {
    for (auto& watch : watches_) watches_exit_ = pipeline::worse(watches_exit_, watch->run_once(stop));
    cards_.wait_until_idle();
    study_.wait_until_idle();
    cards_.close();
    study_.close();
  }

  void mounts_changed() {
    const auto table = read_mounts();
    if (!table) return log_.say(table.error().what);
    auto now = card::card_mounts(*table, kept_);
    const auto change = card::change_of(card_mounts_, now);
    for (const auto& mount : change.gone) {
      cards_.forget(mount.point);
      log_.say(fmt::format("{}: taken out", shown(mount.point.native())));
    }
    for (const auto& mount : change.appeared)
      if (!cards_.offer({mount.point, CardJob::From::mount}))
        log_.say(fmt::format("{}: too many cards wait already; skipped", shown(mount.point.native())));
    if (!table_.empty()) greet_destinations(card::change_of(table_, *table).appeared, *table);
    table_ = *table;
    card_mounts_ = std::move(now);
  }

  // A destination's disk that comes late gets what it missed.
  void greet_destinations(const std::vector<Mount>& appeared, const std::vector<Mount>& table) {
    const bool back = std::any_of(kept_.begin(), kept_.end(), [&](const Path& folder) {
      const auto* mount = mount_of(table, folder);
      return mount && std::find(appeared.begin(), appeared.end(), *mount) != appeared.end();
    });
    if (!back) return;
    cards_.offer_unfinished();
    study_.wake();
  }

  void take_signal() {
    signalfd_siginfo info{};
    if (::read(signals_, &info, sizeof info) != sizeof info) return;
    if (signal_ && info.ssi_signo == SIGHUP) return;  // a closed terminal says it more than once
    if (signal_) leave_the_stuck();                   // asked twice
    signal_ = static_cast<int>(info.ssi_signo);
    patience_ends_ = clock_.steady() + kPatience;
    stop_.request_stop();
    cards_.close();
    study_.close();
  }

  int wait_ms() const {
    if (!signal_) return -1;
    const auto left = std::chrono::ceil<std::chrono::milliseconds>(patience_ends_ - clock_.steady());
    return static_cast<int>(std::max<std::int64_t>(0, left.count()));
  }

  // Every fact is one transaction and every file has its temporary name until it is verified: any moment will do.
  [[noreturn]] void leave_the_stuck() const {
    log_.say("a disk does not answer; what was under way goes on next time");
    ::_exit(static_cast<int>(pipeline::exit_by(signal_)));
  }

  // Constant after construction.
  const ServiceOptions options_;
  const int signals_;
  const Clock& clock_;
  Log& log_;
  const std::vector<Path> kept_;
  // Their own locking.
  Parts parts_;
  LivePlan plan_;
  CardPriority card_priority_;
  const DaemonContext context_;
  CardQueue cards_;
  BackgroundStudy study_;
  std::stop_source stop_;
  std::vector<std::unique_ptr<FolderWatch>> watches_;  // each its thread's own once that runs
  // The thread's that works once; read when it has ended.
  pipeline::Exit watches_exit_ = pipeline::Exit::done;
  // The main thread's.
  std::vector<Mount> table_, card_mounts_;
  int signal_ = 0;
  card::SteadyTime patience_ends_{};
  Crew crew_;  // last: its threads use all the others
};

std::string greeting(const Plan& plan) {
  std::string names;
  for (const auto& each : plan.destinations)
    names += fmt::format("{}\"{}\"", names.empty() ? "" : ", ", shown(each.name));
  return fmt::format("\"{}\": waiting for cards; copies go to {}", shown(plan.title), names);
}

}  // namespace

Result<pipeline::Exit> run_service(pipeline::Shoot shoot, const ServiceOptions& options, int signals,
                                   const Clock& clock, Log& log) {
  TRY(pipeline::check_shoot_folder(shoot.plan.destinations, shoot.folder, shoot.plan.slug()));
  Service::Parts parts{TRY(ShootLock::take(shoot.folder)), TRY(catalogue::Catalogue::open(shoot.catalogue())),
                       TRY(card::watch_mounts()), TRY(Event::open())};
  const auto hello = greeting(shoot.plan);
  const auto service = std::make_unique<Service>(std::move(shoot), options, signals, clock, log, std::move(parts));
  TRY(service->open_watches());
  log.say(hello);
  return service->run();
}

}  // namespace everytake::service
