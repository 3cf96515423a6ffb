/*
 * The install into a single slot, as the guide describes it (docs/src/install.md, docs/src/rehearsal.md), modelled for spin.
 * Written from the description and not from the code: it is a second opinion. README.md says how it is run, what it leaves
 * out, and how far it agrees with the explorer.
 *
 * The slot has two sectors of eight granules:
 *
 *   0 .. IMAGE-1      the image; the old one has OLD_IMAGE granules, the new one NEW_IMAGE
 *   .. 13             blank
 *   14                the descriptor's record, one granule
 *   15                the void mark, blank for as long as the descriptor stands
 *
 * Switches (-D):
 *   DESCRIPTOR_FIRST  mutant: the descriptor is programmed before the image
 *   NO_VOID           mutant: nothing is voided before the erase
 *   NO_DIGEST         mutant: an image is started because its descriptor stands
 *   NO_FLASH_DIGEST   mutant: what was programmed is not digested before the descriptor is programmed
 *   TRUSTS_REMNANTS   mutant: a slot without a descriptor that stands is taken for erased
 *   NO_RECOVERY       mutant: a unit without an image does not look for a stick
 *   SWAPPED           fault: the second pass may read something else from the stick than the first did, all through
 *   MARK_ONCE         the mark is programmed only where it reads as erased: some parts program a granule once only
 *   NEVER_BACK        weak cells read as erased or as a mixture, and never again as what they were
 *   APART             weak cells of a sector come back each for itself, instead of all of them or none
 *   STRICT            a descriptor must tell the truth however its doubtful cells read, not only as they read now
 *   LEFT_OUT_EARLY    of a program request with a granule missing, any number of later granules may be there, not only all
 *   FIRST, CHUNK      granules in the first program request, and in each later one; without FIRST any number up to CHUNK
 *   OLD_IMAGE, NEW_IMAGE  granules in each image
 *   COLLECT           each world with power off is written out, once
 *   ARRIVES           the claim that a unit with a good stick arrives is checked, instead of the assertions
 */

#define SECTOR 8
#define HALF   4
#define SLOT   16
#define RECORD 14
#define MARK   15

#ifndef OLD_IMAGE
#define OLD_IMAGE 9
#endif
#ifndef NEW_IMAGE
#define NEW_IMAGE 10
#endif
#ifndef CHUNK
#define CHUNK 8
#endif

/*
 * What a granule holds. OLD and NEW are what the old and the new image have at that place, or their records.
 * MIX is anything else: it matches no digest, is no record, and is not blank.
 */
#define BLANK  0
#define OLD    1
#define NEW    2
#define ZERO   3
#define MIX    4
/* A program was cut at its very end: reads as done now, and may read otherwise later. */
#define WNEW   5
#define WZERO  6
/* A weak erase: reads as erased now, and what was there may come back. */
#define KOLD   7
#define KNEW   8
#define KZERO  9
#define KMIX   10
#define KBLANK 11
/* Programmed on weak cells: reads as programmed now, and may not hold. */
#define HZERO  12
#define HNEW   13

byte g[SLOT];

/* What the powered unit knows. Gone when power goes. */
byte record;    /* what the record was read as: OLD, NEW, or MIX for none */
bool blankmark; /* whether the void mark was read as blank */
bool holds;     /* whether the digest held over the image that the record names */
byte back;      /* how the weak cells of the upper sector read in this look: BLANK, or OLD for came back, or MIX */
bool stick;
byte at, upto, last, i, k;
bool stands, unvoided; /* whether a descriptor stood, and the mark was blank, when the owner was asked */
byte comes; /* what the second pass brings: NEW, or MIX for something else */
bool may, must;

/* From now on nothing goes wrong any more: no cut, the good stick stays, its owner picks the new version. */
bool calm;
bool arrived;

/* The claims. What does not hold is told by the name of the assertion that fails. */
bool authentic = true; /* nothing but a whole image ever starts */
bool solid = true;     /* what starts was programmed to the end: no cell of it is in doubt */
bool truthful = true;  /* a descriptor that stands names the image that lies in its slot, whole */
bool sane = true;      /* only what reads as erased is programmed, and the mark, to zeros */

inline claim(name, what) {
#ifndef ARRIVES
    name = (what);
    assert(name);
    name = true
#else
    skip
#endif
}

#define weak(c) (c >= KOLD && c <= KBLANK)

/* What a program that is carried out whole leaves. */
#define zeroed(c)   (weak(c) || c == HZERO || c == HNEW -> HZERO : ZERO)
#define newed(c)    (weak(c) -> HNEW : NEW)
/* What a program that is cut in the middle of a granule leaves: bits only fall. */
#define zeropart(c)  (c == ZERO || c == WZERO || c == HZERO -> c : MIX)
/* What a program that is cut at the end of a granule leaves. */
#define newwaver(c)   (weak(c) -> HNEW : WNEW)
#define zerowaver(c) (c == ZERO || c == MIX || c == HZERO -> c : (weak(c) -> HZERO : WZERO))
/* What an erase leaves that took the last charge from no cell. */
#define weakened(c) (c == BLANK -> KBLANK : (c == OLD -> KOLD : (c == NEW || c == WNEW || c == HNEW -> KNEW : \
                    (c == ZERO || c == WZERO || c == HZERO -> KZERO : (c == MIX -> KMIX : c)))))

/* How a granule reads now. */
#define now(c) (c == WNEW || c == HNEW -> NEW : (c == WZERO || c == HZERO -> ZERO : (weak(c) -> BLANK : c)))

/* Programs granules from .. to-1 to the new contents, or the mark to zeros. */
inline fill(from, to, v) {
    i = from;
    do
    :: i < to && v == ZERO -> g[i] = zeroed(g[i]); i++
    :: i < to && v == NEW -> g[i] = newed(g[i]); i++
    :: i < to && v == MIX -> g[i] = MIX; i++
    :: i >= to -> break
    od
}

/* A cut inside the program of granules from .. to-1. The cut before and the cut after are the callers'. */
inline torn_program(from, to, v) {
    atomic {
        k = from;
        do
        :: k + 1 < to -> k++
        :: break
        od;
        if
        :: k > from -> d_step { fill(from, k, v) } /* clean: whole granules, nothing of the next */
        :: d_step { fill(from, k, v); g[k] = (v == ZERO -> zeropart(g[k]) : MIX) }
        :: d_step { fill(from, k, v); g[k] = (v == ZERO -> zerowaver(g[k]) : (v == NEW -> newwaver(g[k]) : MIX)) }
        :: k + 1 < to -> /* left out: k is missing, later ones are there */
#ifdef LEFT_OUT_EARLY
            last = k + 2;
            do
            :: last < to -> last++
            :: break
            od;
            skip;
#else
            last = to;
#endif
            d_step { fill(from, k, v); fill(k + 1, last, v) }
        fi
    }
}

inline erase(sector) {
    d_step {
        i = sector * SECTOR;
        do
        :: i < sector * SECTOR + SECTOR -> g[i] = BLANK; i++
        :: else -> break
        od
    }
}

inline each(from, to, what) {
    d_step {
        i = from;
        do
        :: i < to -> g[i] = what; i++
        :: else -> break
        od
    }
}

inline torn_erase(sector) {
    atomic {
        if
        :: each(sector * SECTOR, sector * SECTOR + SECTOR, zeroed(g[i]))   /* cleared in preparation */
        :: each(sector * SECTOR + HALF, sector * SECTOR + SECTOR, BLANK)   /* upper half erased */
        :: each(sector * SECTOR, sector * SECTOR + HALF, BLANK)            /* lower half erased */
        :: each(sector * SECTOR, sector * SECTOR + SECTOR, MIX)            /* noise */
        :: each(sector * SECTOR, sector * SECTOR + SECTOR, weakened(g[i])) /* weak */
        fi
    }
}

/* Whether granules from .. to-1 may read as image v, and whether they must. */
inline compare(from, to, v) {
    i = from;
    do
    :: i < to ->
        must = must && g[i] == v;
        may = may && (g[i] == v || (v == NEW && (g[i] == WNEW || g[i] == HNEW || g[i] == KNEW)) || (v == OLD && g[i] == KOLD)
                   || (v == BLANK && (weak(g[i]) || g[i] == WZERO || g[i] == HZERO)));
        i++
    :: else -> break
    od
}

inline image_is(v) {
    d_step {
        may = true;
        must = true;
        compare(0, (v == OLD -> OLD_IMAGE : NEW_IMAGE), v)
    }
}

/* How the weak cells of the upper sector read in this look. A weak erase makes all cells of its sector weak. */
inline look() {
    if
    :: back = BLANK
#ifndef NEVER_BACK
    :: weak(g[RECORD]) -> back = OLD
#endif
    :: weak(g[RECORD]) -> back = MIX
    fi
}

/* The record as read: OLD, NEW or none. */
inline read_record() {
    if
    :: g[RECORD] == OLD || g[RECORD] == NEW -> record = g[RECORD]
    :: g[RECORD] == WNEW || g[RECORD] == HNEW -> record = NEW
    :: g[RECORD] == WNEW || g[RECORD] == HNEW -> record = MIX
    :: g[RECORD] == KOLD && back == OLD -> record = OLD
    :: g[RECORD] == KNEW && back == OLD -> record = NEW
    :: weak(g[RECORD]) && (back != OLD || g[RECORD] == KZERO || g[RECORD] == KMIX || g[RECORD] == KBLANK) -> record = MIX
    :: g[RECORD] == BLANK || g[RECORD] == ZERO || g[RECORD] == MIX || g[RECORD] == WZERO || g[RECORD] == HZERO ->
        record = MIX
    fi
}

/* The mark as read. Bits that came back elsewhere in its sector came back in it, unless cells come back each for itself. */
inline read_mark() {
    if
    :: g[MARK] == BLANK -> blankmark = true
    :: g[MARK] == WZERO -> blankmark = true
    :: g[MARK] == WZERO -> blankmark = false
    :: g[MARK] == KBLANK -> blankmark = true
    :: g[MARK] == KBLANK -> blankmark = false
#ifdef APART
    :: g[MARK] == KZERO || g[MARK] == KMIX || g[MARK] == HZERO || g[MARK] == KOLD || g[MARK] == KNEW -> blankmark = true
#else
    :: (g[MARK] == KZERO || g[MARK] == KMIX || g[MARK] == HZERO || g[MARK] == KOLD || g[MARK] == KNEW) && back != OLD ->
        blankmark = true
#endif
    :: g[MARK] != BLANK && g[MARK] != WZERO && g[MARK] != KBLANK -> blankmark = false
    fi
}

/* Whether the image in flash has the digest that is asked for. Doubtful cells may read either way. */
inline digest_of(v) {
    image_is(v);
    if
    :: may -> holds = true
    :: !must -> holds = false
    fi
}

#define standing_now (now(g[MARK]) == BLANK && (now(g[RECORD]) == OLD || now(g[RECORD]) == NEW))

/* A descriptor that stands names the image that lies in its slot, whole. */
inline judge_world() {
    d_step {
        if
        :: standing_now ->
            may = true;
            i = 0;
            do
            :: i < (now(g[RECORD]) == OLD -> OLD_IMAGE : NEW_IMAGE) ->
                may = may && now(g[i]) == now(g[RECORD]);
                i++
            :: else -> break
            od;
            claim(truthful, may)
        :: else
        fi
    }
}

/* What a cut leaves of the unit's memory. */
inline forget() {
    d_step {
        record = 0; blankmark = false; holds = false; back = 0; stick = false; stands = false; unvoided = false; comes = 0;
        at = 0; upto = 0; last = 0; i = 0; k = 0; may = false; must = false
    }
}

/* A change of flash: carried out, or cut before it, or inside it. A cut after it is one before the next step. */
inline change_erase(sector) {
    if
    :: !calm -> goto off
    :: !calm -> torn_erase(sector); goto off
    :: erase(sector); i = 0
    fi
}

inline change_program(from, to, v) {
    d_step {
        may = true;
        i = from;
        do
        :: i < to -> may = may && (v == ZERO || g[i] == BLANK || weak(g[i])); i++
        :: else -> break
        od;
        i = 0;
        claim(sane, may)
    }
    if
    :: !may -> goto wait /* the part does not do it */
    :: may && !calm -> goto off
    :: may && !calm -> torn_program(from, to, v); goto off
    :: may -> d_step { fill(from, to, v); i = 0; may = false }
    fi
}

init {
    d_step {
        i = 0;
        do
        :: i < OLD_IMAGE -> g[i] = OLD; i++
        :: else -> break
        od;
        g[RECORD] = OLD
    }

off:
    forget();
#ifdef COLLECT
    c_code {
        static const char letter[] = ".on0?wzONZ~_hw";
        if (!now.calm) {
            int cell;
            printf("world ");
            for (cell = 0; cell < 16; cell++)
                putchar(letter[now.g[cell]]);
            putchar('\n');
        }
    };
#endif
    judge_world();
    if
    :: skip
    :: !calm -> calm = true
    fi;
    if
    :: stick = true
    :: !calm -> stick = false
    fi;

inspect:
    atomic {
        look();
        read_record();
        read_mark();
        holds = false;
        if
        :: record != MIX && blankmark -> digest_of(record)
        :: else
        fi;
#ifdef STRICT
        claim(truthful, !(record != MIX && blankmark) || may);
#endif
#ifdef NO_DIGEST
        holds = (record != MIX && blankmark);
#endif
        back = 0; i = 0; may = false; must = false
    }

#ifdef NO_RECOVERY
    if
    :: !holds -> goto wait
    :: else
    fi;
#endif
    if
    :: !stick -> goto start_or_wait
    :: stick && holds && record == NEW -> goto start_or_wait /* all that is offered is installed already */
    :: stick && !(holds && record == NEW) && !calm -> goto start_or_wait /* the owner leaves everything as it is */
    :: stick && !(holds && record == NEW)
    fi;
    d_step { unvoided = blankmark; stands = (record != MIX && blankmark); record = 0; blankmark = false; holds = false }

    /* The dry pass changes nothing. A stick that is pulled here costs nothing. */
    if
    :: skip
    :: !calm -> goto wait
    fi;

#ifdef TRUSTS_REMNANTS
    if
    :: !stands -> unvoided = false; goto program
    :: stands -> stands = false
    fi;
#else
    stands = false;
#endif
#ifndef NO_VOID
#ifdef MARK_ONCE
    if
    :: unvoided -> unvoided = false; change_program(MARK, MARK + 1, ZERO)
    :: else
    fi;
#else
    unvoided = false;
    change_program(MARK, MARK + 1, ZERO);
#endif
#else
    unvoided = false;
#endif

    change_erase(1);
    change_erase(0);

#ifdef DESCRIPTOR_FIRST
    change_program(RECORD, RECORD + 1, NEW);
#endif

program:
    if
    :: comes = NEW
#ifdef SWAPPED
    :: !calm -> comes = MIX
#endif
    fi;
    stands = false;
    do
    :: at < NEW_IMAGE ->
        atomic {
#ifdef FIRST
            upto = (at == 0 -> FIRST : at + CHUNK);
            upto = (upto > NEW_IMAGE -> NEW_IMAGE : upto)
#else
            upto = at + 1;
            do
            :: upto < NEW_IMAGE && upto < at + CHUNK -> upto++
            :: break
            od
#endif
        }
        if
        :: change_program(at, upto, comes)
        :: !calm -> goto wait /* the stick is pulled in the second pass */
        fi;
        at = upto;
        upto = 0
    :: at >= NEW_IMAGE -> break
    od;
    at = 0;
    comes = 0;

    /* Flash is digested, and the rest of the slot must read erased. */
    atomic {
#ifdef NO_FLASH_DIGEST
        holds = true;
#else
        digest_of(NEW);
#endif
        d_step { may = true; must = true; compare(NEW_IMAGE, RECORD, BLANK) };
        if
        :: may
        :: !must -> holds = false
        fi;
        i = 0; may = false; must = false
    }
    if
    :: !holds -> goto wait
    :: holds -> holds = false
    fi;

#ifndef DESCRIPTOR_FIRST
    change_program(RECORD, RECORD + 1, NEW);
#endif
    goto inspect;

start_or_wait:
    if
    :: !holds -> goto wait
    :: holds
    fi;
    image_is(record);
    claim(authentic, may);
    claim(solid, must || !may);
    if
    :: calm -> arrived = (record == NEW && may); goto done
    :: !calm -> goto off
    fi;

wait:
    if
    :: calm -> goto done
    :: !calm -> goto off
    fi;

done:
    forget()
}

#ifdef ARRIVES
ltl arrives { [] (calm -> <> arrived) }
#endif
