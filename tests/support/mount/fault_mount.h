// Mounts a folder with faults (fault_mount_main.cc says which), for as long as the object lives.
#pragma once

#include <string>
#include <vector>

#include "os/fs.h"
#include "support/rooms.h"

namespace everytake::test {

class FaultMount {
 public:
  // Without the right to mount, or without FUSE, is_mounted() is false and `point` stays an empty folder.
  FaultMount(Path folder, Path point, std::vector<std::string> options = {});
  ~FaultMount();
  FaultMount(const FaultMount&) = delete;
  FaultMount& operator=(const FaultMount&) = delete;

  bool is_mounted() const { return server_ > 0; }
  const Path& path() const { return point_; }
  // In place of those of before; a test's mistake in them ends it.
  void rules(const std::string& text) const { command("rules\n" + text); }
  void power_cut(unsigned seed) const { command("power-cut " + std::to_string(seed)); }
  std::string log() const;   // every call so far that could change something, a line each
  void await_stall() const;  // returns once a call waits by a rule
  void die();                // by SIGKILL; the mount stays and answers with ENOTCONN

 private:
  void command(const std::string& text) const;

  const Path point_;
  int server_ = 0;
};

}  // namespace everytake::test
