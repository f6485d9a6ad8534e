// The one thread that looks into clips, at low priority: copying goes before.
#pragma once

#include <stop_token>

#include "base/sync.h"
#include "card_visit.h"

namespace everytake {

class Studying {
 public:
  explicit Studying(const Workshop& shop) : shop_(shop) {}

  // There may be something to study. From any thread.
  void wake();
  // Until close().
  void run(std::stop_token stop);
  void wait_until_idle();
  void close();

 private:
  void study(std::stop_token stop);

  const Workshop& shop_;
  Mutex mu_;
  CondVar changed_;
  bool wanted_ GUARDED_BY(mu_) = false;
  bool working_ GUARDED_BY(mu_) = false;
  bool closed_ GUARDED_BY(mu_) = false;
};

}  // namespace everytake
