// Looks into each recording in a process of its own, with limits on memory, computing and what the system does for it:
// a crafted recording takes down that process, never this one, nor another's. This process opens the files and hands it
// their bytes.
#pragma once

#include <memory>
#include <span>
#include <stop_token>
#include <vector>

#include "media/picture/strip.h"
#include "model.h"

namespace everytake::examiner {

struct Examination;
struct Finding;

struct HeardSound {
  std::vector<float> samples;  // as decode_mono() has them
  SoundLevels levels;
};

// Safe to use from several threads; each call is a process, split off from a program that waits for the next, and
// copying goes before it.
class Examiner {
 public:
  // `program` calls serve_examinations() first of all; else the one beside this program, or in libexec.
  Examiner();
  explicit Examiner(Path program);
  Examiner(Examiner&&) noexcept;
  ~Examiner();

  // read_facts(), there. A recording that breaks the limits or ends the process has the problem `unreadable`.
  Result<ClipFacts> facts(const ReadFs& fs, const Path& folder, const ClipFiles& files,
                          std::span<const CameraDefault> cameras, std::stop_token stop) const;

  // decode_mono() and what its meter shows, there. `corrupt` also for a recording that breaks the limits or ends the
  // process.
  Result<HeardSound> sound(const ReadFs& fs, const Path& recording, int rate_hz, std::stop_token stop) const;

  // How long the sound of a recording is: sound_length(), there. Fails as sound() does.
  Result<Micros> length(const ReadFs& fs, const Path& recording, std::stop_token stop) const;

  // picture_strip(), there. A recording that breaks the limits or ends the process gives no frame.
  Result<media::Strip> strip(const ReadFs& fs, const Path& folder, std::span<const Path> videos, const ClipFacts& facts,
                             std::stop_token stop) const;

 private:
  Result<Finding> run(const ReadFs& fs, const Examination& examination, std::uint64_t most, std::stop_token stop) const;

  class Servers;
  std::unique_ptr<Servers> servers_;
};

}  // namespace everytake::examiner
