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
 *   NEVER_DIGESTS     mutant: the same, and what was programmed is not digested either
 *   TRUSTS_BLANK      mutant: a sector that reads as erased is not erased again
 *   NO_RECOVERY       mutant: a unit without an image does not look for a stick
 *   SWAPPED           fault: the second pass may read something else from the stick than the first did
 *   APART             weak cells of a sector come back each for itself, instead of all of them or none
 *   STRICT            a descriptor must tell the truth however its doubtful cells read, not only as they read now
 *   LEFT_OUT_EARLY    of a program request with a granule missing, any number of later granules may be there, not only all
 *   FIRST, CHUNK      granules in the first program request, and in each later one; without FIRST any number up to CHUNK
 *   OLD_IMAGE, NEW_IMAGE  granules in each image
 *   COLLECT           each world with power off is written out, once
 *   CLAIM             which claim is looked at: AUTHENTIC, SOLID, TRUTHFUL or ARRIVES; without it all but the last
 */

#define AUTHENTIC 1
#define SOLID     2
#define TRUTHFUL  3
#define ARRIVES   4

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

#ifndef CLAIM
#define CLAIMED(name, what) assert(what)
#else
#define CLAIMED(name, what) assert(CLAIM != name || (what))
#endif

#ifdef NEVER_DIGESTS
#define NO_DIGEST
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
/* Zeros on weak cells: reads as zeros now, and may not hold. */
#define HZERO  12

byte g[SLOT];

/* What the powered unit knows. Gone when power goes. */
byte record;    /* what the record was read as: OLD, NEW, or MIX for none */
bool blankmark; /* whether the void mark was read as blank */
bool holds;     /* whether the digest held over the image that the record names */
byte back;      /* how the weak cells of the upper sector read in this look: BLANK, or OLD for came back, or MIX */
bool stick;
byte at, upto, last, i, k;
bool may, must;

/* From now on nothing goes wrong any more: no cut, the good stick stays, its owner picks the new version. */
bool calm;
bool arrived;

#define weak(c) (c >= KOLD && c <= KBLANK)

/* What a program that is carried out whole leaves. */
#define zeroed(c)   (weak(c) || c == HZERO -> HZERO : ZERO)
#define newed(c)    (c == BLANK -> NEW : (weak(c) -> WNEW : MIX))
/* What a program that is cut in the middle of a granule leaves: bits only fall. */
#define zeropart(c)  (c == ZERO || c == HZERO -> c : (weak(c) -> KMIX : MIX))
/* What a program that is cut at the end of a granule leaves. */
#define zerowaver(c) (c == ZERO || c == HZERO -> c : (weak(c) -> HZERO : WZERO))
/* What an erase leaves that took the last charge from no cell. */
#define weakened(c) (c == BLANK -> KBLANK : (c == OLD -> KOLD : (c == NEW || c == WNEW -> KNEW : \
                    (c == ZERO || c == WZERO || c == HZERO -> KZERO : (c == MIX -> KMIX : c)))))

/* How a granule reads now. */
#define now(c) (c == WNEW -> NEW : (c == WZERO || c == HZERO -> ZERO : (weak(c) -> BLANK : c)))

/* Programs granules from .. to-1 to the new contents, or the mark to zeros. */
inline fill(from, to, v) {
    i = from;
    do
    :: i < to && v == ZERO -> g[i] = zeroed(g[i]); i++
    :: i < to && v == NEW -> g[i] = newed(g[i]); i++
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
        :: d_step { fill(from, k, v); g[k] = (v == ZERO -> zeropart(g[k]) : (weak(g[k]) -> KMIX : MIX)) }
        :: d_step { fill(from, k, v); g[k] = (v == ZERO -> zerowaver(g[k]) : WNEW) }
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
        may = may && (g[i] == v || (v == NEW && (g[i] == WNEW || g[i] == KNEW)) || (v == OLD && g[i] == KOLD)
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

/* How the weak cells of the upper sector read in this look. */
inline look() {
    if
    :: back = BLANK
    :: weak(g[RECORD]) -> back = OLD
    :: weak(g[RECORD]) -> back = MIX
    fi
}

/* The record as read: OLD, NEW or none. */
inline read_record() {
    if
    :: g[RECORD] == OLD || g[RECORD] == NEW -> record = g[RECORD]
    :: g[RECORD] == WNEW -> record = NEW
    :: g[RECORD] == WNEW -> record = MIX
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
inline truthful() {
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
            CLAIMED(TRUTHFUL, may)
        :: else
        fi
    }
}

/* What a cut leaves of the unit's memory. */
inline forget() {
    d_step {
        record = 0; blankmark = false; holds = false; back = 0; stick = false;
        at = 0; upto = 0; last = 0; i = 0; k = 0; may = false; must = false
    }
}

/* A change of flash: carried out, or cut before it, or inside it. A cut after it is one before the next step. */
inline change_erase(sector) {
#ifdef TRUSTS_BLANK
    reads_blank(sector);
#endif
    if
#ifdef TRUSTS_BLANK
    :: may -> may = false
    :: !may && !calm -> goto off
    :: !may && !calm -> torn_erase(sector); goto off
    :: !may -> erase(sector); i = 0
#else
    :: !calm -> goto off
    :: !calm -> torn_erase(sector); goto off
    :: erase(sector); i = 0
#endif
    fi
}

inline reads_blank(sector) {
    d_step {
        may = true;
        i = sector * SECTOR;
        do
        :: i < sector * SECTOR + SECTOR -> may = may && now(g[i]) == BLANK; i++
        :: else -> break
        od;
        i = 0
    }
}

inline change_program(from, to, v) {
    if
    :: !calm -> goto off
    :: !calm -> torn_program(from, to, v); goto off
    :: d_step { fill(from, to, v); i = 0 }
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
        static const char letter[] = ".on0?nz" "ONZ~_h";
        if (!now.calm) {
            int cell;
            printf("world ");
            for (cell = 0; cell < 16; cell++)
                putchar(now.g[cell] == 5 ? 'w' : letter[now.g[cell]]);
            putchar('\n');
        }
    };
#endif
    truthful();
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
        CLAIMED(TRUTHFUL, !(record != MIX && blankmark) || may);
#endif
#ifdef NO_DIGEST
        holds = (record != MIX && blankmark);
#endif
        back = 0; i = 0; may = false; must = false
    }

    if
#ifdef NO_RECOVERY
    :: !holds -> goto wait
#endif
    :: !stick -> goto start_or_wait
    :: stick && holds && record == NEW -> goto start_or_wait /* all that is offered is installed already */
    :: stick && !(holds && record == NEW) && !calm -> goto start_or_wait /* the owner leaves everything as it is */
    :: stick && !(holds && record == NEW)
    fi;
    d_step { record = 0; blankmark = false; holds = false }

    /* The dry pass changes nothing. A stick that is pulled here costs nothing. */
    if
    :: skip
    :: !calm -> goto wait
    fi;

#ifndef NO_VOID
    change_program(MARK, MARK + 1, ZERO);
#endif

    change_erase(1);
    change_erase(0);

#ifdef DESCRIPTOR_FIRST
    change_program(RECORD, RECORD + 1, NEW);
#endif

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
        :: change_program(at, upto, NEW)
        :: !calm -> goto wait /* the stick is pulled in the second pass */
#ifdef SWAPPED
        :: !calm -> each(at, upto, MIX); i = 0
#endif
        fi;
        at = upto;
        upto = 0
    :: at >= NEW_IMAGE -> break
    od;
    at = 0;

    /* Flash is digested, and the rest of the slot must read erased. */
    atomic {
#ifdef NEVER_DIGESTS
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
    CLAIMED(AUTHENTIC, may); /* nothing but a whole image ever starts */
    CLAIMED(SOLID, must);    /* no cell of it is in doubt */
    if
    :: calm -> arrived = (record == NEW); goto done
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

#if CLAIM == ARRIVES
ltl arrives { [] (calm -> <> arrived) }
#endif
