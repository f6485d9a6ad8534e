#include "offload/names.h"

#include <gtest/gtest.h>

#include "base/text.h"
#include "support/mem_fs.h"
#include "support/rooms.h"

namespace everytake {
namespace {

const Path kRoll = "saltmarsh-radio/R001";

NameRules like_exfat() {
  NameRules rules;
  rules.folds = true;
  for (const char c : {'"', '*', ':', '<', '>', '?', '\\', '|', '\n'}) rules.refused.insert(c);
  rules.only_utf8 = true;
  rules.drops_ending = true;
  rules.longest = 255;
  return rules;
}

std::string below_roll(NamesThere& names, const Path& on_card) {
  return names.of(kRoll, on_card).lexically_relative(kRoll).native();
}

TEST(Names, StayWhereTheFilesystemTakesAll) {
  NamesThere names;
  EXPECT_TRUE(names.takes_all());
  EXPECT_EQ(below_roll(names, "CLIP/what?.XML"), "CLIP/what?.XML");
}

// Percent-encoding: RFC 3986, section 2.1.
TEST(Names, AreWrittenWithoutTheBytesThatAreRefused) {
  NamesThere names(like_exfat());
  EXPECT_EQ(below_roll(names, "CLIP/C0001.MP4"), "CLIP/C0001.MP4");
  EXPECT_EQ(below_roll(names, "CLIP/what?.XML"), "CLIP/what%3F.XML");
  EXPECT_EQ(below_roll(names, "a:b/line\nbreak"), "a%3Ab/line%0Abreak");
  EXPECT_EQ(below_roll(names, "\xff\xc3\xa4.bin"), "%FF%C3%A4.bin");
  EXPECT_EQ(below_roll(names, "\xc3\xa4.bin"), "\xc3\xa4.bin");
  EXPECT_EQ(below_roll(names, "ends. /dot."), "ends.%20/dot%2E");
}

TEST(Names, ThatAreOneThereAreToldApart) {
  NamesThere names(like_exfat());
  EXPECT_EQ(below_roll(names, "CLIP/C0001.MP4"), "CLIP/C0001.MP4");
  EXPECT_EQ(below_roll(names, "CLIP/c0001.mp4"), "CLIP/c0001~2.mp4");
  EXPECT_EQ(below_roll(names, "clip/c0001.mp4"), "clip~2/c0001.mp4");
  EXPECT_EQ(below_roll(names, "CLIP/c0001.mp4"), "CLIP/c0001~2.mp4");  // the same answer
  EXPECT_EQ(below_roll(names, "what?"), "what%3F");
  EXPECT_EQ(below_roll(names, "what%3f"), "what%3f~2");
  EXPECT_EQ(below_roll(names, "\xc3\xa4"), "\xc3\xa4");      // one code point
  EXPECT_EQ(below_roll(names, "A\xcc\x88"), "A\xcc\x88~2");  // a letter and its accent
  EXPECT_EQ(names.of("saltmarsh-radio/R002", "CLIP/c0001.mp4"), "saltmarsh-radio/R002/CLIP/c0001.mp4");
}

TEST(Names, StayAsTheyWereRecorded) {
  NamesThere names(like_exfat());
  names.keep(kRoll, "CLIP/c0001.mp4", kRoll / "CLIP/c0001.mp4");
  names.keep(kRoll, "b?/x", kRoll / "b_/x");
  EXPECT_EQ(below_roll(names, "CLIP/C0001.MP4"), "CLIP/C0001~2.MP4");
  EXPECT_EQ(below_roll(names, "CLIP/c0001.mp4"), "CLIP/c0001.mp4");
  EXPECT_EQ(below_roll(names, "b?/y"), "b_/y");
}

TEST(Names, ThatAreTooLongAreCutBetweenCharacters) {
  auto rules = like_exfat();
  rules.longest = 20;
  NamesThere names(rules);
  const std::string umlauts = "\xc3\xa4\xc3\xa4\xc3\xa4\xc3\xa4\xc3\xa4\xc3\xa4\xc3\xa4\xc3\xa4\xc3\xa4\xc3\xa4";
  EXPECT_EQ(below_roll(names, umlauts + ".MP4"), umlauts.substr(0, 16) + ".MP4");
  EXPECT_EQ(below_roll(names, umlauts + "b.MP4"), umlauts.substr(0, 14) + "~2.MP4");
  EXPECT_EQ(below_roll(names, "x" + umlauts + ".MP4"), "x" + umlauts.substr(0, 14) + ".MP4");
}

TEST(Names, AreAskedAboutOnlyWhereTheyAreUnusual) {
  test::MemFs fs;
  ASSERT_TRUE(fs.make_folder("home"));
  const Path plain[] = {"CLIP/C0001.MP4", "CLIP/C0002.MP4", "with blank/\xc3\xa4"};
  EXPECT_TRUE(ask_name_rules(fs, "home", unusual_in(plain)).takes_all());
  const Path odd[] = {"CLIP/C0001.MP4", "clip/C0001.MP4", "a?", "b.", "\xff"};
  EXPECT_TRUE(ask_name_rules(fs, "home", unusual_in(odd)).takes_all());  // in memory every name is one
  EXPECT_TRUE(fs.files().empty());
}

TEST(Names, AreReadFromTheirNoteAsTheyWereWritten) {
  const std::vector<OtherName> names{{"CLIP/what%3F", "CLIP/what?"}, {"a~2", "\xff line\nbreak"}};
  const auto note = names_note(names);
  EXPECT_EQ(note, "CLIP/what%253F  CLIP/what%3F\na~2  %FF%20line%0Abreak\n");
  const auto read = parse_names_note(note);
  ASSERT_TRUE(read);
  ASSERT_EQ(read->size(), 2U);
  for (std::size_t i = 0; i < 2; ++i) {
    EXPECT_EQ((*read)[i].stored, names[i].stored);
    EXPECT_EQ((*read)[i].on_card, names[i].on_card);
  }
}

TEST(Names, OfANoteNeverLeadOutOfTheRoll) {
  for (const char* line : {"a", "a  ", "  a", "a b", "../a  b", "a  ../b", "a  /b", "a  b%2", "a  b%zz", "a  b%00",
                           "a  %61", "a  b%2F..%2Fc", "a//b  c"})
    EXPECT_EQ(parse_names_note(line).error().what, "line 1 is no pair of names") << line;
}

TEST(Names, OfANoteBelongTogetherAndComeOnce) {
  EXPECT_EQ(parse_names_note("a/b  a\n").error().what, "line 1 is a pair of names that don't belong together");
  EXPECT_EQ(parse_names_note("a~2  b\na~2  c\n").error().what, "line 2 tells of a file again");
  EXPECT_EQ(parse_names_note("a~2  b\na~3  b\n").error().what, "line 2 tells of a file again");
}

TEST(Names, AreShortWhereTheFilesystemHasRoomForLittle) {
  auto rules = like_exfat();
  rules.longest = 12;
  NamesThere names(rules);
  EXPECT_EQ(below_roll(names, "a.extension_b"), "a.extension_");
  EXPECT_EQ(below_roll(names, "a.extension_c"), "a.extensio~2");
}

// Unicode Standard, CaseFolding.txt: U+00DF folds to "ss"; U+00C4 to U+00E4. Its chapter 3.11: U+0061 U+0308 composes
// to U+00E4.
TEST(Names, FoldAsUnicodeSays) {
  EXPECT_EQ(folded("C0001.MP4"), "c0001.mp4");
  EXPECT_EQ(folded("Stra\xc3\x9f"
                   "e"),
            "strasse");
  EXPECT_EQ(folded("\xc3\x84"), "\xc3\xa4");
  EXPECT_EQ(folded("A\xcc\x88"), "\xc3\xa4");
  EXPECT_EQ(folded("A\xff"), "a\xff");
}

}  // namespace
}  // namespace everytake
