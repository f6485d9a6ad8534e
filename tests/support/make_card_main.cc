// make_card DIR [--song FILE] [--more]: a camera card to try the programs with (support/media_card.h).
#include <cstdio>
#include <exception>
#include <string>

#include "support/media_card.h"
#include "support/rooms.h"

int main(int argc, char** argv) try {
  using namespace everytake::test;
  std::string folder, song;
  bool more = false;
  for (int i = 1; i < argc; ++i) {
    const std::string word = argv[i];
    if (word == "--more")
      more = true;
    else if (word == "--song" && i + 1 < argc)
      song = argv[++i];
    else
      folder = word;
  }
  if (folder.empty()) {
    std::fputs("make_card DIR [--song FILE] [--more]\n", stderr);
    return 2;
  }
  if (more)
    add_clip(folder, one_more());
  else
    make_card(folder, card_clips());
  if (!song.empty()) write_song(song);
  return 0;
} catch (const std::exception& error) {
  std::fprintf(stderr, "make_card: %s\n", error.what());
  return 1;
}
