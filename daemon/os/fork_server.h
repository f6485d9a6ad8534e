// Processes that are quick to start: a program is loaded once, and each of them is split off from it as it stands then.
#pragma once

#include <sys/types.h>

#include <functional>

#include "os/channel.h"

namespace everytake {

// The loaded program. It ends with this object at the latest, and what was split off with it. For one thread at a time.
class ForkServer {
 public:
  // Starts `program` under `name` with one argument, `word`, which makes it call serve_forks(). It is cut off from this
  // process: only its standard input is open (the channel), its environment is empty, its folder is the root, and
  // Ctrl-C at the terminal does not reach it.
  static Result<ForkServer> start(const Path& program, std::string name, std::string word);
  ForkServer(ForkServer&& other) noexcept;
  ForkServer& operator=(ForkServer&&) = delete;
  ~ForkServer();

  // Splits off a process that gets a copy of `socket`. `gone` where the program has ended. Both calls fail with
  // `cancelled` once `interrupt` is readable, as a Channel's do.
  Result<void> split_off(int socket, int interrupt);
  // Waits until the process split off last has ended, and returns how, as waitpid() tells it. To be called before the
  // next is split off. `busy` after `patience`; `gone` where it never started, or the program has ended too.
  Result<int> how_it_ended(Channel::Duration patience, int interrupt);

 private:
  ForkServer(pid_t pid, Descriptor socket);
  pid_t pid_;
  Channel channel_;
};

// The program's side. For each process that is asked for, splits off one, in which `work` gets the socket, and whose
// exit code is what `work` returns; one at a time. Returns when nobody asks any more. The program has no other thread.
void serve_forks(const std::function<int(Descriptor)>& work);

}  // namespace everytake
