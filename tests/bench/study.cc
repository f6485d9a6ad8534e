// What it costs to study clips as cameras make them: 4K, ten bits, long GOP.
#include <fmt/format.h>
#include <time.h>

#include <chrono>
#include <cstdlib>
#include <iostream>
#include <vector>

#include "base/text.h"
#include "bench/bench.h"
#include "media/facts.h"
#include "media/picture/av_picture.h"
#include "media/sound/audio.h"
#include "os/posix_fs.h"
#include "support/rooms.h"
#include "support/shell.h"
#include "support/temp_dir.h"

namespace everytake::bench {
namespace {

// Frames, sizes and rates of bits are common ones of mirrorless cameras (common practice). A buffer of a quarter of a
// second keeps the first frame from taking the bits of many, as it does in a camera.
struct Form {
  const char* name;
  const char* video;  // ffmpeg's options
  int seconds;
};
constexpr Form kForms[] = {
    {"h264-422-10-140M",
     "-c:v libx264 -preset superfast -pix_fmt yuv422p10le -g 24 -bf 2 -b:v 140M -maxrate 140M -bufsize 35M", 10},
    {"h264-420-8-100M",
     "-c:v libx264 -preset superfast -pix_fmt yuv420p -g 12 -bf 2 -b:v 100M -maxrate 100M -bufsize 25M", 10},
    {"h265-422-10-100M",
     "-c:v libx265 -preset superfast -pix_fmt yuv422p10le -tag:v hvc1 -b:v 100M -x265-params "
     "keyint=24:bframes=2:vbv-maxrate=100000:vbv-bufsize=25000:log-level=error",
     10},
    {"h265-420-10-short",
     "-c:v libx265 -preset superfast -pix_fmt yuv420p10le -tag:v hvc1 -b:v 100M -x265-params "
     "keyint=24:bframes=2:vbv-maxrate=100000:vbv-bufsize=25000:log-level=error",
     3},
};

// A moving picture with noise, as a sensor has, and a second of sound a second.
bool make(const Form& form, const Path& file) {
  const auto command = fmt::format(
      "ffmpeg -v error -n -f lavfi -i testsrc2=s=3840x2160:r=24000/1001,noise=alls=6:allf=t -f lavfi -i "
      "anoisesrc=r=48000:a=0.1 -t {} {} -c:a aac -f mp4 {}",
      form.seconds, form.video, test::quoted(file));
  return test::shell(command).exit == 0;
}

double processor_seconds() {
  timespec time{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &time);
  return static_cast<double>(time.tv_sec) + static_cast<double>(time.tv_nsec) * 1e-9;
}

template <class Work>
double cost_of(Work work) {
  const double before = processor_seconds();
  work();
  return processor_seconds() - before;
}

bool measure(const Form& form, const Path& folder) {
  const Path name = std::string(form.name) + ".mp4";
  const auto fs = PosixFs::open_at(folder);
  if (!fs || (!(*fs)->stat(name) && !make(form, folder / name))) return false;
  ClipFacts facts;
  Strip strip;
  const double probing = cost_of([&] {
    if (const auto read = read_facts(**fs, "", {form.name, {{name, FileRole::video}}}, {}, {})) facts = *read;
  });
  facts.gamma = "s-log3-cine";
  const double hearing = cost_of([&] { (void)decode_mono(**fs, name, 8000, {}); });
  const double picturing = cost_of([&] {
    if (auto made = picture_strip(**fs, std::span(&name, 1), facts, {})) strip = std::move(*made);
  });
  std::cout << fmt::format("{:<20} {:>5.1f} s {:>8.3f} {:>8.3f} {:>8.3f} {:>8.3f}   {} frames\n", form.name,
                           seconds(facts.duration.value_or(Micros{})), probing, hearing, picturing,
                           probing + hearing + picturing, strip.seen.frames);
  return strip.seen.frames == 5;
}

}  // namespace

int study(std::span<const std::string> words) {
  const test::TempDir temporary;
  Path folder = temporary.path();
  if (words.size() == 2 && words[0] == "--keep")
    folder = words[1];
  else if (!words.empty())
    return std::cerr << "usage: bench study [--keep DIR]\n", 2;
  std::cout << "processor seconds a clip, on one thread\n"
               "clip                  length    probe    sound  picture      all\n";
  bool good = true;
  for (const auto& form : kForms) good = measure(form, folder) && good;
  return good ? 0 : 1;
}

}  // namespace everytake::bench
