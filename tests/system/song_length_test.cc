// How long the song is, as every command asks: measured by the examiner's program once, and remembered.
#include "pipeline/song_length.h"

#include <gtest/gtest.h>

#include "catalogue/catalogue.h"
#include "support/rooms.h"
#include "support/shell.h"
#include "support/temp_dir.h"

namespace everytake {
namespace {

using test::quoted;
using test::shell;

class SongLength : public testing::Test {
 protected:
  void make_song(int seconds) const {
    const auto made =
        shell("ffmpeg -loglevel error -y -f lavfi -i sine=frequency=440:duration=" + std::to_string(seconds) + " " +
              quoted(song_));
    ASSERT_EQ(made.exit, 0) << made.err;
  }
  Song planned() const {
    Song song;
    song.file = song_.filename();
    return song;
  }
  // The rows as a general tool reads them.
  std::string remembered() const {
    return shell("sqlite3 " + quoted(dir_ / "catalogue.sqlite") + " 'SELECT length_us FROM song_length'").out;
  }

  const test::TempDir dir_;
  const Path song_ = dir_ / "saltmarsh-radio.wav";
};

TEST_F(SongLength, IsMeasuredOnceForAFileThatStaysAsItIs) {
  make_song(3);
  const auto catalogue = *Catalogue::open(dir_ / "catalogue.sqlite");
  EXPECT_EQ(song_length(dir_.path(), song_).value(), std::chrono::seconds(3));
  EXPECT_EQ(remembered(), "");  // loading a plan writes nothing
  remember_song_length(*catalogue, dir_.path(), planned());
  EXPECT_EQ(remembered(), "3000000\n");
  // What is remembered is what is told from then on, until the file is another one.
  shell("sqlite3 " + quoted(dir_ / "catalogue.sqlite") + " 'UPDATE song_length SET length_us = 5000000'");
  EXPECT_EQ(song_length(dir_.path(), song_).value(), std::chrono::seconds(5));
  make_song(4);
  EXPECT_EQ(song_length(dir_.path(), song_).value(), std::chrono::seconds(4));
  remember_song_length(*catalogue, dir_.path(), planned());
  EXPECT_EQ(remembered(), "4000000\n");
}

TEST_F(SongLength, MakesNoCatalogue) {
  make_song(3);
  EXPECT_EQ(song_length(dir_.path(), song_).value(), std::chrono::seconds(3));
  EXPECT_EQ(shell("ls " + quoted(dir_.path())).out, "saltmarsh-radio.wav\n");
}

TEST_F(SongLength, IsNotGuessedWhereThereIsNone) {
  EXPECT_EQ(song_length(dir_.path(), song_).error().code, Code::not_found);
  test::put_file(song_, std::string(5000, 'x'));
  const auto none = song_length(dir_.path(), song_);
  ASSERT_FALSE(none);
  EXPECT_NE(none.error().what.find("saltmarsh-radio.wav"), std::string::npos) << none.error().what;
}

}  // namespace
}  // namespace everytake
