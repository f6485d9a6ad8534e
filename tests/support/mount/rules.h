// What goes wrong on a filesystem of the tests' own, said in lines of text:
//
//     OPERATION NAME ACTION [KEY=VALUE …]        e.g.  read C0001.MP4 eio at=70000 times=1
//
// OPERATION: read write readdir getattr open create fsync fsyncdir close rename mkdir unlink fallocate, or any.
// NAME: a shell pattern for the file's name, or for its whole path where it holds a "/".
// ACTION  err errno=E   fails with that error; eio is err errno=EIO
//         gone errno=E  the same, and so does every operation from then on
//         stall         waits until other rules are given
//         delay ms=M    waits as long;  slow mbps=M  as a medium of that many megabytes a second would
//         read          flip (a bit at `at`), zero (`len` bytes from `at`), short max=N (at most N bytes a call), and
//                       append len=N, truncate to=N, touch: the file changes meanwhile, once
//         write         flip at, drop (nothing is written), torn (half is written); all say that all is well
//         fsync         drop: says yes and makes nothing durable
//         readdir       hide name=X, dup, loop name=X (a folder that is this one again), err after=N entries
// KEY     at=N   only a call that covers this byte;  len=N  with zero and append
//         on=N   of read: only on the file's Nth opening; else only the Nth call that matches
//         after=N  only once N calls have matched;  over=N  once so many bytes were written to the filesystem
//         times=N  at most so often
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "base/sync.h"
#include "support/rooms.h"

namespace everytake::test {

struct FaultRule {
  std::string operation, name, action, entry;
  std::uint64_t at = 0, len = 1, to = 0, max = 0, ms = 0, mbps = 0, over = 0;
  bool has_at = false;
  int on = 0, after = 0, times = 0;  // 0: any, none, always
  int error = 0;                     // errno
  int calls = 0, met = 0;            // so far
};

// One call to the filesystem.
struct FaultCall {
  std::string operation, path;
  std::uint64_t offset = 0, size = 0;
  int opening = 0;  // of read: the how-manieth opening of the file
};

// Safe to use from several threads.
class FaultRules {
 public:
  // Replaces all rules and ends every stall. Returns what can't be understood, or "".
  std::string set(const std::string& text);
  // The rules this call meets, in their order; counts it. Waits where a rule says so.
  std::vector<FaultRule> meet(const FaultCall& call);
  void wrote(std::uint64_t bytes);
  int stalled();  // calls that wait now

 private:
  std::vector<FaultRule> take(const FaultCall& call) REQUIRES(mu_);
  bool meets(FaultRule& rule, const FaultCall& call) REQUIRES(mu_);

  Mutex mu_;
  CondVar changed_;
  std::vector<FaultRule> rules_ GUARDED_BY(mu_);
  int generation_ GUARDED_BY(mu_) = 0;
  int stalled_ GUARDED_BY(mu_) = 0;
  int gone_ GUARDED_BY(mu_) = 0;  // errno of everything from now on
  std::uint64_t written_ GUARDED_BY(mu_) = 0;
};

}  // namespace everytake::test
